"""Bodies made to cost much: each within the limits of bytes, many of them small when they are sent."""

import json
from collections.abc import Callable

from heartlevel.intake.texts.json_text import BETWEEN_VALUES, MOST_VALUES

MOST = 8 * 1024 * 1024 - 1  # bytes, decoded: below the limit of a body
READING = b'{"setting":"home","systolic":142,"diastolic":88,"taken_at":"2026-03-02T07:10:00+01:00"}'
HOOK = b'{"hook":"patient-view","hookInstance":"x","context":{"patientId":"p"},"prefetch":{"patient":{"resourceType":"Patient","id":"p"},"pressures":{"resourceType":"Bundle","entry":['  # noqa: E501
OBSERVATION = (
    b'{"resource":{"resourceType":"Observation","status":"final","code":{"coding":[{"system":"http://loinc.org",'
    b'"code":"85354-9"}]},"subject":{"reference":"Patient/p"},"effectiveDateTime":"2026-03-02T07:10:00+01:00"}}'
)


def request(readings: bytes = b"", more: bytes = b"") -> bytes:
    return b'{"subject":{"id":"s-1"' + more + b'},"readings":[' + readings + b"]}"


def full(item: bytes, parting: bytes = b",", most: int = MOST_VALUES - 100) -> bytes:
    """Return an item as often as there is room for in bytes and, but for `most`, in values."""
    values = sum((item + parting).count(sign) for sign in BETWEEN_VALUES)
    return parting.join([item] * min((MOST - 2_000) // (len(item) + len(parting)), most // values if values else MOST))


def names(form: str = '"k{}":1', most: int = MOST_VALUES - 100) -> bytes:
    """Return as many names as there is room for, no two alike."""
    room, values = MOST - 2_000, sum(f"{form},".encode().count(sign) for sign in BETWEEN_VALUES)
    items: list[bytes] = []
    while room > 0 and len(items) < most // values:
        items.append(form.format(len(items)).encode())
        room -= len(items[-1]) + 1
    return b",".join(items[:-1])


def bundle(entries: bytes) -> bytes:
    return b'{"resourceType":"Bundle","type":"collection","entry":[' + entries + b"]}"


def deep(depth: int) -> bytes:
    return request(more=b',"x":' + b"[" * depth + b"]" * depth)


JSON, NDJSON, FHIR = "application/json", "application/x-ndjson", "application/fhir+json"
V1, FHIR_PATH, CDS = "/v1/assessments", "/v1/fhir/assessments", "/cds-services/blood-pressure"
# By name: path, kind, and what makes the body.
HOSTILE: dict[str, tuple[str, str, Callable[[], bytes]]] = {
    "5,000 readings, all right": (
        V1,
        JSON,
        lambda: request(
            b",".join(
                [
                    READING.replace(b"07:10", b"%02d:%02d" % (n // 60 % 24, n % 60)).replace(
                        b"03-02", b"03-%02d" % (n // 1440 + 1)
                    )
                    for n in range(5_000)
                ]
            )
        ),
    ),  # noqa: E501
    "5,000 readings, a fault in each field": (
        V1,
        JSON,
        lambda: request(
            b",".join(
                b'{"setting":"hime","systolic":"a%d","diastolic":[],"taken_at":"2026-13-%d","pulse":{},"arm":%d}'
                % (n, n, n)
                for n in range(5_000)
            )
        ),
    ),  # noqa: E501
    "5,000 readings, 70 unknown names each": (
        V1,
        JSON,
        lambda: request(
            b",".join(
                READING[:-1] + b"," + b",".join(b'"n%d_%d":1' % (n, k) for k in range(70)) + b"}" for n in range(5_000)
            )
        ),
    ),  # noqa: E501
    "5,000 lost readings, 50 names near to a pressure's each": (
        V1,
        JSON,
        lambda: request(
            b",".join(
                b'{"setting":"home","systolic":"x",' + b",".join(b'"systolix%d_%d":"x"' % (n, k) for k in range(50)) + b"}"
                for n in range(5_000)
            )
        ),
    ),
    "8 MiB of zero bytes": (V1, JSON, lambda: bytes(MOST)),
    "8 MiB of spaces": (V1, JSON, lambda: b" " * MOST),
    "spaces, then a request": (V1, JSON, lambda: b" " * (MOST - 2_000) + request(READING)),
    "8 MiB of bytes that are no UTF-8": (V1, JSON, lambda: b'"' + b"\xff" * (MOST - 2) + b'"'),
    "500,000 unknown names": (V1, JSON, lambda: b'{"subject":{"id":"s-1"},' + names(most=500_000) + b"}"),
    "a million tiny readings": (V1, JSON, lambda: request(full(b"{}", most=4_000_000))),
    "400,000 unknown names": (V1, JSON, lambda: b'{"subject":{"id":"s-1"},' + names() + b"}"),
    "unknown names of the subject": (V1, JSON, lambda: request(READING, b"," + names())),
    "unknown names in a reading": (V1, JSON, lambda: request(READING[:-1] + b"," + names() + b"}")),
    "names near to known ones": (V1, JSON, lambda: request(READING[:-1] + b"," + names('"systolik{}":1') + b"}")),
    "one key again and again": (V1, JSON, lambda: request(READING[:-1] + b"," + full(b'"pulse":1') + b"}")),
    "keys each twice": (V1, JSON, lambda: request(READING[:-1] + b"," + names('"k{0}":1,"k{0}":1') + b"}")),
    "lists 1,000 deep": (V1, JSON, lambda: deep(1_000)),
    "lists a million deep": (V1, JSON, lambda: deep(1_000_000)),
    "objects a million deep": (V1, JSON, lambda: b'{"a":' * 1_000_000),
    "a list of empty lists": (V1, JSON, lambda: request(full(b"[]"))),
    "tiny readings": (V1, JSON, lambda: request(full(b"{}"))),
    "5,000 tiny readings": (V1, JSON, lambda: request(full(b"{}", most=9_990))),
    "5,000 readings of 70 faults": (
        V1,
        JSON,
        lambda: request(full(b'{"technique":{' + b",".join(b'"%d":[]' % n for n in range(35)) + b"}}", most=370_000)),
    ),  # noqa: E501
    "numbers in place of readings": (V1, JSON, lambda: request(full(b"1"))),
    "tiny devices": (V1, JSON, lambda: b'{"subject":{"id":"s"},"readings":[],"devices":[' + full(b"{}") + b"]}"),
    "tiny periods": (V1, JSON, lambda: b'{"subject":{"id":"s"},"readings":[],"periods":[' + full(b"{}") + b"]}"),
    "tiny device checks": (V1, JSON, lambda: b'{"subject":{"id":"s"},"device_checks":[' + full(b"{}") + b"]}"),
    "other guidelines": (
        V1,
        JSON,
        lambda: b'{"subject":{"id":"s"},"readings":[],"options":{"also_under":[' + full(b'"x"') + b"]}}",
    ),  # noqa: E501
    "symptoms without end": (V1, JSON, lambda: request(READING, b',"symptoms":[' + full(b'"x"') + b"]")),
    "one long string": (V1, JSON, lambda: request(READING, b',"name":"' + b"x" * (MOST - 2_000) + b'"')),
    "a long id": (V1, JSON, lambda: request(READING).replace(b"s-1", b"x" * (MOST - 2_000))),
    "a long time": (V1, JSON, lambda: request(READING).replace(b"07:10", b"0" * (MOST - 2_000))),
    "a long time zone": (
        V1,
        JSON,
        lambda: request(READING)[:-1] + b',"options":{"time_zone":"' + b"E/" * (MOST // 2 - 2_000) + b'"}}',
    ),  # noqa: E501
    "escapes without end": (V1, JSON, lambda: request(READING, b',"name":"' + full(b"\\u003a", b"") + b'"')),
    "half characters": (V1, JSON, lambda: request(READING, b',"name":"' + full(b"\\ud83d", b"") + b'"')),
    "one number of 8 MiB": (V1, JSON, lambda: request(READING).replace(b"142", b"9" * (MOST - 2_000))),
    "one fraction of 8 MiB": (V1, JSON, lambda: request(READING).replace(b"142", b"1." + b"9" * (MOST - 2_000))),
    "exponents without end": (V1, JSON, lambda: request(READING).replace(b"142", b"1e" + b"9" * (MOST - 2_000))),
    "NaN without end": (V1, JSON, lambda: request(READING, b',"x":[' + full(b"NaN") + b"]")),
    "integers of 5,000 digits": (V1, JSON, lambda: request(READING, b',"x":[' + full(b"9" * 5_000) + b"]")),
    "cut off, legible pressures": (V1, JSON, lambda: b'{"subject":{"id":"s"},"readings":[' + full(READING)),
    "cut off, `subject` without end": (V1, JSON, lambda: full(b'"subject":{', b"")),
    "cut off, spaces before each pressure": (V1, JSON, lambda: full(b'"systolic"' + b" " * 5_000, b"")),
    "Bluetooth bytes without end": (
        V1,
        JSON,
        lambda: request(b'{"measurement_0x2a35":"' + b"00" * (MOST // 2 - 2_000) + b'"}'),
    ),  # noqa: E501
    "a device check of tiny pairs": (
        "/v1/device-checks",
        JSON,
        lambda: b'{"device_checks":[{"device":"d","pairs":[' + full(b"{}") + b"]}]}",
    ),  # noqa: E501
    "FHIR: 6,000 observations": (FHIR_PATH, FHIR, lambda: bundle(b",".join([OBSERVATION] * 6_000))),
    "FHIR: 5,000 observations": (FHIR_PATH, FHIR, lambda: bundle(b",".join([OBSERVATION] * 5_000))),
    "FHIR: 100 people": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(b",".join(OBSERVATION.replace(b"Patient/p", b"Patient/p%d" % (n % 100)) for n in range(5_000))),
    ),  # noqa: E501
    "FHIR: 6,000 people": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(b",".join(OBSERVATION.replace(b"Patient/p", b"Patient/p%d" % n) for n in range(6_000))),
    ),  # noqa: E501
    "FHIR: 250 observations of 20 components each": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(
            b",".join(
                [
                    OBSERVATION[:-2]
                    + b',"component":['
                    + b",".join(
                        [
                            b'{"code":{"coding":[{"system":"http://loinc.org","code":"8480-6"}]},"valueQuantity":{"value":120}}'
                        ]
                        * 20
                    )
                    + b"]}}"
                ]
                * 200
            )
        ),
    ),  # noqa: E501
    "FHIR: tiny resources": (FHIR_PATH, FHIR, lambda: bundle(full(b'{"resource":{}}'))),
    "FHIR: empty entries": (FHIR_PATH, FHIR, lambda: bundle(full(b"{}"))),
    "FHIR: observations": (FHIR_PATH, FHIR, lambda: bundle(full(OBSERVATION))),
    "FHIR: a patient each": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(names('{{"resource":{{"resourceType":"Patient","id":"p{}"}}}}')),
    ),  # noqa: E501
    "FHIR: components without end": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(OBSERVATION[:-2] + b',"component":[' + full(b"{}") + b"]}}"),
    ),  # noqa: E501
    "FHIR: codings without end": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(OBSERVATION.replace(b'"coding":[', b'"coding":[' + full(b"{}") + b",")),
    ),  # noqa: E501
    "FHIR: extensions nested": (
        FHIR_PATH,
        FHIR,
        lambda: bundle(OBSERVATION[:-2] + b',"extension":' + b'[{"extension":' * 400 + b"[]" + b"}]" * 400 + b"}}"),
    ),  # noqa: E501
    "FHIR: unknown names": (FHIR_PATH, FHIR, lambda: bundle(OBSERVATION[:-2] + b"," + names() + b"}}")),
    "FHIR: parameters": (FHIR_PATH, FHIR, lambda: b'{"resourceType":"Parameters","parameter":[' + full(b"{}") + b"]}"),
    "CDS Hooks: tiny resources": (CDS, JSON, lambda: HOOK + full(b'{"resource":{}}') + b"]}}}"),
    "CDS Hooks: observations": (CDS, JSON, lambda: HOOK + full(OBSERVATION) + b"]}}}"),
    "CDS Hooks: unknown names": (CDS, JSON, lambda: HOOK[:-1] + b"]}}," + names() + b"}"),
    "CDS Hooks: feedback": (CDS + "/feedback", JSON, lambda: b'{"feedback":[' + full(b'{"outcome":"accepted"}') + b"]}"),
    "NDJSON: one line of 8 MiB": (V1, NDJSON, lambda: request(full(b"{}"))),
    "NDJSON: 400,000 unknown names in a line": (V1, NDJSON, lambda: b'{"subject":{"id":"s-1"},' + names() + b"}"),
    "NDJSON: 500 lines that are no request": (V1, NDJSON, lambda: b"1\n" * 500),
    "NDJSON: 500 empty objects": (V1, NDJSON, lambda: b"{}\n" * 500),
    "NDJSON: zero bytes": (V1, NDJSON, lambda: bytes(MOST)),
    "rules tried: unknown files": (
        "/v1/rules/trial",
        JSON,
        lambda: b'{"files":{' + names('"a{}.yaml":"x"') + b'},"requests":[]}',
    ),  # noqa: E501
    "rules tried: aliases of aliases": (
        "/v1/rules/trial",
        JSON,
        lambda: json.dumps(
            {
                "layer": {
                    "reading/a.yaml": "a0: &a0 [x, x]\n"
                    + "".join(f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]\n" for n in range(1, 60))
                },
                "requests": [],
            }
        ).encode(),
    ),  # noqa: E501
    "rules tried: a file of 8 MiB": (
        "/v1/rules/trial",
        JSON,
        lambda: b'{"files":{"reading/a.yaml":"' + full(b"- a: 1\\n", b"") + b'"},"requests":[]}',
    ),  # noqa: E501
}
