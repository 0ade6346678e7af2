"""Bodies made to cost much where tables, pages, trials of rules and compressed bodies are taken; as in `bodies`."""

import gzip
import zlib
from collections.abc import Callable
from datetime import date, timedelta

from backports import zstd

from load.attacks.bodies import JSON, MOST, NDJSON, READING, V1, request

CSV, TABLES, SHEETS, LOGS = "text/csv", "/v1/tables", "/v1/patient-sheets", "/v1/log-sheets"
HEAD, ROW = b"subject,setting,systolic,diastolic,taken_at", b"s-%d,home,142,88,2026-03-%02dT%02d:%02d:00+01:00"
EMPTY = {"gzip": gzip.compress(b""), "zstd": zstd.compress(b"")}
# Text turned round, no XML, a mark on a mark, what mathematics is set by, a person of four: in a name of 64 signs at most.
CONTROLS = (
    b"%d"
    + "\u202e\u2066\u200f]]>a\u0301\u0301\u0301$^{\U0001f468\u200d\U0001f469\u200d\U0001f467".encode()
    + b"\\u0000\\u001b\\ufffe"
)
BOMB = 2 * 1024 * 1024 * 1024  # bytes, decoded


def moments(count: int, subjects: int = 1, row: bytes = ROW) -> list[bytes]:
    """Return rows of as many readings, of subjects in turn, no two at the same time."""
    return [row % (n % subjects, n // 1440 + 1, n // 60 % 24, n % 60) for n in range(count)]


def table(*rows: bytes, head: bytes = HEAD) -> bytes:
    return b"\n".join([head, *rows])


def wide(name: bytes) -> bytes:
    return table(head=HEAD + b"," + b",".join(name % n for n in range(100_000)))


def readings(count: int, more: bytes = b"") -> bytes:
    form = READING.replace(b"03-02T07:10", b"03-%02dT%02d:%02d")[:-1] + more + b"}"
    return request(b",".join(form % (n // 1440 + 1, n // 60 % 24, n % 60) for n in range(count)))


def over_years(count: int, name: bytes = b"%d") -> bytes:
    """Return a severe reading every fifth day, each of which is an episode of its own, with names that hold a number."""
    form = READING[:-1].replace(b"142", b"199").replace(b"2026-03-02", b"%s") + b',"id":"' + name + b'"}'
    days = [(date(1955, 1, 1) + timedelta(days=5 * number)).isoformat().encode() for number in range(count)]
    return request(b",".join(form % (day, number) for number, day in enumerate(days)))


def device_checks(count: int) -> bytes:
    pair = b'{"device":{"systolic":122,"diastolic":81},"reference":{"systolic":120,"diastolic":80}}'
    listed = b",".join(b'{"device":"d%d","pairs":[%s,%s,%s]}' % (number, pair, pair, pair) for number in range(count))
    return readings(28)[:-1] + b',"device_checks":[' + listed + b"]}"


def bomb(coding: str) -> bytes:
    """Return two gigabytes of spaces, compressed."""
    coder = zstd.ZstdCompressor() if coding == "zstd" else zlib.compressobj(9, wbits=31)
    piece = b" " * (16 * 1024 * 1024)
    return b"".join(coder.compress(piece) for _ in range(BOMB // len(piece))) + coder.flush()


def by_devices(count: int) -> bytes:
    """Return readings of as many devices, each named in turn."""
    named = b",".join(b'{"id":"d%d"}' % number for number in range(count))
    form = READING.replace(b"03-02T07:10", b"03-%02dT%02d:%02d")[:-1] + b',"device":"d%d"}'
    sent = b",".join(form % (n // 1440 + 1, n // 60 % 24, n % 60, n % count) for n in range(5_000))
    return request(sent)[:-1] + b',"devices":[' + named + b"]}"


def symptoms(count: int) -> bytes:
    """Return readings with as many texts each that are nearly symptoms, no two alike."""
    form = READING[:-1] + b',"symptoms":[%s]}'
    texts = (b",".join(b'"chestpai%x"' % (row * count + n) for n in range(count)) for row in range(5_000))
    return request(b",".join(form % listed for listed in texts))


def pressures(count: int) -> bytes:
    """Return a request without readings, in which as many names each could be either pressure."""
    names = b",".join(b'"systolic%d":%d,"diastolic%d":%d' % (n, 100 + n % 150, n, 50 + n % 90) for n in range(count))
    return b'{"subject":{"id":"s-1"},"readings":7,"elsewhere":{' + names + b"}}"


def odd(row: int) -> bytes:
    return b"s-1,hime,a%d,,2026-13-%d" % (row, row)


HOSTILE: dict[str, tuple[str, str, Callable[[], bytes]]] = {
    "table: a row": (TABLES, CSV, lambda: table(*moments(1))),
    "table: 5,000 rows of one person": (TABLES, CSV, lambda: table(*moments(5_000))),
    "table: 5,000 people": (TABLES, CSV, lambda: table(*moments(5_000, 5_000))),
    "table: 200 people": (TABLES, CSV, lambda: table(*moments(5_000, 200))),
    "table: 5,000 rows of faults": (TABLES, CSV, lambda: table(*map(odd, range(5_000)))),
    "table: 100,000 columns": (TABLES, CSV, lambda: wide(b"c%d")),
    "table: columns near to known ones": (TABLES, CSV, lambda: wide(b"systolik%d")),
    "table: commas without end": (TABLES, CSV, lambda: table(b"," * (MOST - 100))),
    "table: a quote without end": (TABLES, CSV, lambda: table(b'"' + b"x" * (MOST - 100))),
    "table: quotes without end": (TABLES, CSV, lambda: table(b'"' * (MOST - 100))),
    "table: empty rows": (TABLES, CSV, lambda: table(*[b""] * (MOST - 100))),
    "table: long cells": (TABLES, CSV, lambda: table(*[b"s-1,home," + b"9" * 1_600 + b",,"] * 5_000)),
    "table: a cell of 8 MiB": (TABLES, CSV, lambda: table(b"s-1,home," + b"9" * (MOST - 200) + b",88,")),
    "table: zero bytes": (TABLES, CSV, lambda: bytes(MOST)),
    "page: 5,000 readings": (V1, JSON, lambda: readings(5_000)),
    "plot: 5,000 readings": (V1, JSON, lambda: readings(5_000)),
    "print: 28 readings": (V1, JSON, lambda: readings(28)),
    "print: 5,000 readings": (V1, JSON, lambda: readings(5_000)),
    "page: 5,000 readings, 70 faults each": (
        V1, JSON, lambda: readings(4_500, b',"technique":{' + b",".join(b'"%d":[]' % n for n in range(35)) + b"}")),
    "print: 5,000 readings, faults each": (V1, JSON, lambda: readings(5_000, b',"technique":{"legs_crossed":true}')),
    "print: a long name": (V1, JSON, lambda: readings(28).replace(b'"s-1"', b'"s-1","name":"' + b"x " * 2_000_000 + b'"')),
    "sheet: 5,000 readings": (SHEETS, JSON, lambda: readings(5_000)),
    "log: 5,000 readings": (LOGS, JSON, lambda: readings(5_000)),
    "log: 366 days": (LOGS + "?days=366", JSON, lambda: readings(28)),
    "severe: 5,000 readings over 70 years": (V1, JSON, lambda: over_years(5_000)),
    "page: 5,000 readings over 70 years": (V1, JSON, lambda: over_years(5_000)),
    "plot: 5,000 readings over 70 years": (V1, JSON, lambda: over_years(5_000)),
    "print: 5,000 readings over 70 years": (V1, JSON, lambda: over_years(5_000)),
    "page: names of controls": (V1, JSON, lambda: over_years(5_000, CONTROLS)),
    "plot: names of controls": (V1, JSON, lambda: over_years(5_000, CONTROLS)),
    "print: names of controls": (V1, JSON, lambda: over_years(5_000, CONTROLS)),
    "page: 1,000 device checks": (V1, JSON, lambda: device_checks(1_000)),
    "print: 1,000 device checks": (V1, JSON, lambda: device_checks(1_000)),
    "sheet: 5,000 readings over 70 years": (SHEETS, JSON, lambda: over_years(5_000)),
    "readings of 1,000 devices": (V1, JSON, lambda: by_devices(1_000)),
    "5,000 readings of one name": (V1, JSON, lambda: readings(5_000, b',"id":"x"')),
    "5,000 readings, 70 near to symptoms each": (V1, JSON, lambda: symptoms(70)),
    "100,000 names of either pressure": (V1, JSON, lambda: pressures(100_000)),
    "a name of 7 MB": (V1, JSON, lambda: request(b'{"setting":"home","systolic":"x","' + b"y" * 7_000_000 + b'":1}')),
    "bomb: gzip": (V1, JSON, lambda: bomb("gzip")),
    "bomb: zstd": (V1, JSON, lambda: bomb("zstd")),
    "bomb: gzip, a stream": (V1, NDJSON, lambda: bomb("gzip")),
    "bomb: zstd, a stream": (V1, NDJSON, lambda: bomb("zstd")),
    "members: gzip": (V1, JSON, lambda: EMPTY["gzip"] * (MOST // len(EMPTY["gzip"]))),
    "members: zstd": (V1, JSON, lambda: EMPTY["zstd"] * (MOST // len(EMPTY["zstd"]))),
    "members: gzip, a stream": (V1, NDJSON, lambda: EMPTY["gzip"] * (MOST // len(EMPTY["gzip"]))),
    "members: zstd, a stream": (V1, NDJSON, lambda: EMPTY["zstd"] * (MOST // len(EMPTY["zstd"]))),
    "stream: 8 MiB of empty lines": (V1, NDJSON, lambda: b"\n" * MOST),
    "stream: 5 lines of 5,000 readings": (V1, NDJSON, lambda: (readings(5_000) + b"\n") * 5),
    "rules tried: 10,000 files": (
        "/v1/rules/trial", JSON,
        lambda: b'{"files":{' + b",".join(b'"a/%d.yaml":"x: 1"' % n for n in range(10_000)) + b'},"requests":[]}'),
    "rules tried: 500 requests": (
        "/v1/rules/trial", JSON,
        lambda: b'{"files":{"layer.yaml":"name: C\\nrevision: \'1\'\\nchanges: []\\n"},"requests":['
        + b",".join([readings(20)] * 500) + b"]}"),
}  # fmt: skip
# What is asked for, where not JSON; how a body is compressed already.
ACCEPTED = {"page": "text/html", "plot": "image/svg+xml", "print": "application/pdf", "sheet": "text/html"}
PACKED = {name: coding for name in HOSTILE for coding in EMPTY if name.partition(": ")[2].startswith(coding)}
