"""Requests that hold markers wherever a request can hold anything: nothing that is written may hold one.

A text is marked by MARKER, a reading by the digits of FRACTION; both are looked for in any case of letters.
"""

import gzip
import json
from collections.abc import Iterator
from typing import Any

from exchange.resources import bundle, parameters, patient, pressure
from heartlevel.web.written_as_report import HTML, PDF, SVG
from support import OWN_RULE, week

MARKER, FRACTION = "zq7marker", "40251"
SYSTOLIC = f"137.{FRACTION}"
MARKS = (MARKER.encode(), FRACTION.encode())
JSON, NDJSON, CSV, FHIR = "application/json", "application/x-ndjson", "text/csv", "application/fhir+json"
KINDS = (JSON, NDJSON, CSV, FHIR, f"application/{MARKER}", f"{JSON}; charset={MARKER}")
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ACCEPTED = (JSON, HTML, PDF, SVG, XLSX, FHIR, f"text/{MARKER}")
# Of every request; one name that no client would send, and those that servers read.
HEADERS = {
    f"X-{MARKER}": MARKER, "User-Agent": MARKER, "Referer": f"http://x/{MARKER}", "Cookie": f"{MARKER}={MARKER}",
    "X-Request-Id": f"{MARKER} !", "traceparent": f"00-{MARKER}", "tracestate": f"{MARKER}=1", "baggage": f"{MARKER}=1",
    "Origin": f"http://{MARKER}", "If-None-Match": f'"{MARKER}"', "Via": f"1.1 {MARKER}", "From": MARKER,
    "X-Forwarded-For": MARKER, "Forwarded": f"for={MARKER}", "Accept-Language": MARKER, "Content-Language": MARKER,
}  # fmt: skip
# A layer as a clinic writes one, and a rule file with mistakes.
LAYER = f"name: {MARKER}\nrevision: '1'\nchanges: []\n"
RULE_FILE = f"- id: {MARKER}\n  scope: {MARKER}\n  when: {{systolic: {{above: {SYSTOLIC}}}}}\n"


def marked_week() -> dict[str, Any]:
    """Return a request with readings, ids, unknown names and values that cannot be, all of them marked."""
    subject = week()
    subject["subject"] = {"id": MARKER, MARKER: MARKER}
    subject["devices"] = [{"id": MARKER, "cuff": MARKER}]
    for number, reading in enumerate(subject["readings"]):
        reading |= {"id": f"{MARKER}-{number}", "systolic": float(SYSTOLIC), "note": MARKER}
    subject["readings"] += [
        {
            "id": MARKER,
            "taken_at": MARKER,
            "systolic": f"{SYSTOLIC}x",
            "diastolic": 9e9,
            "setting": MARKER,
            MARKER: SYSTOLIC,
        },
        {"taken_at": "2026-03-02T07:10:00+01:00", "systolic": float(f"1{SYSTOLIC}"), "diastolic": 80, "setting": "home"},
    ]
    subject["options"] = {"time_zone": MARKER, "guideline": MARKER, MARKER: 1}
    return subject


def documents() -> dict[str, object]:
    """Return what can be sent as JSON, by name."""
    right = week()
    right["subject"] = {"id": MARKER}
    for reading in right["readings"]:
        reading["systolic"] = float(SYSTOLIC)
    observed = [
        pressure(MARKER, float(SYSTOLIC), day=day, subject={"reference": f"Patient/{MARKER}"}) for day in range(1, 8)
    ]
    record = {"patient": {**patient(MARKER), "name": [{"family": MARKER}]}, "pressures": bundle(*observed)}
    context = {"patientId": MARKER, "userId": MARKER}
    pair = {"device": {"systolic": float(SYSTOLIC), "diastolic": 80}, "reference": {"systolic": 130, "diastolic": MARKER}}
    return {
        "subject": right, "faults": marked_week(),
        "strict": {**marked_week(), "options": {"strict": True}},
        "bundle": bundle(record["patient"], *observed, {"resourceType": MARKER, "id": MARKER}),
        "parameters": parameters(*observed, as_of=("Date", MARKER), **{MARKER: ("String", MARKER)}),
        "hook": {"hook": "patient-view", "hookInstance": MARKER, "context": context, "prefetch": record},
        "another hook": {"hook": MARKER, "hookInstance": MARKER, "context": context},
        "feedback": {"feedback": [{"card": MARKER, "outcome": "accepted", "overrideReason": MARKER}]},
        "no feedback": {"feedback": [{"card": MARKER, "outcome": MARKER}]},
        "device check": {"device_checks": [{"device": MARKER, "reference_device": MARKER, "pairs": [pair] * 5}]},
        "zoned": {**right, "options": {"time_zone": "Europe/Oslo"}},
        "trial": {"files": {f"../{MARKER}": MARKER}, "requests": [MARKER]},
        "a text": MARKER, "deep": [[[[MARKER]]]],
    }  # fmt: skip


def trials() -> dict[str, object]:
    """Return candidates that are compiled, by name: that takes seconds each."""
    named = f"reading/{MARKER}.yaml"
    return {
        "right trial": {"files": {"layer.yaml": LAYER, named: OWN_RULE}, "requests": [documents()["subject"], MARKER]},
        "trial at fault": {"files": {named: RULE_FILE}, "requests": [documents()["subject"]]},
    }


def bodies() -> Iterator[tuple[bytes, dict[str, str]]]:
    """Yield bodies with the headers that they need."""
    texts = [json.dumps(document).encode() for document in documents().values()]
    damaged = [text[: len(text) // 2] for text in texts[:4]] + [b'{"' + MARKER.encode() + b'": \xff}', MARKER.encode()]
    for text in [*texts, *damaged, b"\n".join(texts), table(), table() + b'\n"']:
        yield text, {}
    packed = gzip.compress(texts[0])
    for text, coding in (
        (packed, "gzip"),
        (packed[:-20], "gzip"),
        (texts[0], "gzip"),
        (texts[0], "zstd"),
        (texts[0], MARKER),
    ):
        yield text, {"Content-Encoding": coding}


def understood() -> Iterator[tuple[str, str, bytes | None, dict[str, str]]]:
    """Yield requests that are answered: method, path, body and the headers that they need."""
    texts = {name: json.dumps(document).encode() for name, document in (documents() | trials()).items()}
    for kind in (JSON, HTML, PDF, SVG, FHIR):
        yield "POST", "/v1/assessments", texts["subject"], {"Content-Type": JSON, "Accept": kind}
    stream = b"\n".join(texts[name] for name in ("subject", "faults", "strict", "a text", "bundle")) + b"\n{" + MARKS[0]
    yield "POST", "/v1/assessments", stream, {"Content-Type": NDJSON}
    yield "POST", "/v1/assessments", gzip.compress(stream), {"Content-Type": NDJSON, "Content-Encoding": "gzip"}
    yield "POST", "/v1/assessments", gzip.compress(stream)[:-30], {"Content-Type": NDJSON, "Content-Encoding": "gzip"}
    for kind in (JSON, FHIR):
        yield "POST", "/v1/fhir/assessments", texts["bundle"], {"Content-Type": FHIR, "Accept": kind}
    yield "POST", "/v1/device-checks", texts["device check"], {"Content-Type": JSON}
    yield "POST", "/v1/patient-sheets", texts["subject"], {"Content-Type": JSON}
    for kind in (HTML, XLSX):
        yield "POST", "/v1/log-sheets", texts["zoned"], {"Content-Type": JSON, "Accept": kind}
    yield "POST", "/v1/tables", table(), {"Content-Type": CSV}
    for name in trials():
        yield "POST", "/v1/rules/trial", texts[name], {"Content-Type": JSON}
    yield "POST", "/cds-services/blood-pressure", texts["hook"], {"Content-Type": JSON}
    yield "POST", "/cds-services/blood-pressure/feedback", texts["feedback"], {"Content-Type": JSON}


def table() -> bytes:
    rows = [f"{MARKER},2026-03-0{day}T07:10:00+01:00,{SYSTOLIC},80,home" for day in range(1, 8)]
    rows.append(f"{MARKER},{MARKER},{MARKER},{SYSTOLIC},{MARKER}")
    return "\n".join(["subject,taken_at,systolic,diastolic,setting", *rows]).encode()


def raw(authorization: str) -> Iterator[bytes]:
    """Yield what is no request as HTTP asks, or of which the rest is read as the next one."""
    mark, body = MARKER.encode(), json.dumps(marked_week(), ensure_ascii=False).encode()
    head = b"Host: x\r\nAuthorization: " + authorization.encode() + b"\r\nContent-Type: application/json\r\n"
    post, length = b"POST /v1/assessments HTTP/1.1\r\n" + head, b"Content-Length: %d\r\n\r\n"
    chunked = post.replace(b"application/json", b"application/x-ndjson") + b"Transfer-Encoding: chunked\r\n\r\n"
    for short in (7, len(body) // 2, len(body) - len(mark)):  # counted in characters: the rest is no request
        yield post + length % short + body
    yield post + length % (len(body) + 40) + body  # and then nothing
    for line in (b"bad name " + mark, mark, b" " + mark, b"X-\xff" + mark, mark + b"\x00", b"X: " + mark + b"\x00",
                 b"X: a\r" + mark, b"Transfer-Encoding: " + mark, b"Transfer-Encoding: gzip, " + mark,
                 b"Content-Length: " + mark, b"Expect: " + mark, b"X: " + mark * 4_000, b"Connection: " + mark,
                 b"Upgrade: " + mark, b"Range: " + mark, b"Date: " + mark):  # fmt: skip
        for colon in (b"", b": x"):
            yield post + line + colon + b"\r\n" + length % len(body) + body
    yield chunked + mark + b"\r\n" + body
    yield chunked + b"5;" + mark + b"\r\nabcde\r\n0\r\n" + mark + b": x\r\n\r\n"
    yield chunked + b"%x\r\n" % len(body) + body + mark
    yield chunked + b"%x\r\n" % len(body) + body + b"\r\n0\r\nbad " + mark + b"\r\n\r\n"
    yield post[:-2] + b"\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n" + body
    for line in (mark, mark + b" / HTTP/1.1", b"GET /" + mark + b" HTTP/9", b"GET " + mark + b" HTTP/1.1",
                 b"GET /" + mark + b"\x00 HTTP/1.1", b"GET /%ff" + mark + b" HTTP/1.1", b"GET /" + mark + b" " + mark,
                 b"GET http://" + mark + b"/" + mark + b" HTTP/1.1", b"GET /" + mark * 2_000 + b" HTTP/1.1",
                 b"get /" + mark + b" HTTP/1.1", b"PRI * HTTP/2.0\r\n\r\n" + mark, b"PROXY TCP4 " + mark,
                 b"CONNECT " + mark + b":443 HTTP/1.1", b"OPTIONS * HTTP/1.1\r\nX-" + mark + b": x", b"GET  /" + mark,
                 b"\x16\x03\x01\x02\x00\x01" + mark, b"GET /v1/rules/" + mark + b" HTTP/1.0",
                 b"GET /health?" + mark):  # fmt: skip
        yield line + b"\r\n" + head + b"\r\n"
