"""What the clients of the load test send: good requests, broken ones, NDJSON, reading routes and unknown paths."""

from dataclasses import dataclass, field

import orjson

from support import demo, reading, week

JSON, NDJSON = "application/json", "application/x-ndjson"
ASSESSMENTS = "/v1/assessments"
# The id is part of problem objects; given here so that a body can be compared whole.
FIXED_ID = {"X-Request-Id": "load-1"}


@dataclass(frozen=True)
class Case:
    """One request."""

    method: str
    path: str
    body: bytes | None = None
    headers: dict[str, str] = field(default_factory=lambda: dict(FIXED_ID))


def posted(body: bytes, content_type: str = JSON) -> Case:
    return Case("POST", ASSESSMENTS, body, {"Content-Type": content_type, **FIXED_ID})


def cases() -> list[Case]:
    """Return every case once, always in the same order."""
    good = [*demo(), *_weeks()]
    bodies = [orjson.dumps(payload) for payload in [*good, *_refused(), *_with_bad_readings()]]
    return [*map(posted, [*bodies, *_no_json()]), *_lines(good), *_not_understood(), *_reading_routes()]


def _weeks() -> list[dict]:
    guidelines = ("acc-aha-2025", "esc-2024", "esh-2023", "nice-ng136", "isshp-2021")
    return [
        *[week(days) for days in (0, 1, 3, 7, 14, 30)],
        *[week(7, ((systolic, 85), (systolic + 2, 86))) for systolic in (95, 119, 134, 151, 182)],
        *[week(5, options={"guideline": name}) for name in guidelines],
        week(7, technique={"legs_crossed": True, "back_supported": False}),
    ]


def _refused() -> list[object]:
    far = week(1) | {"subject": {}}
    return [[], {}, 5, None, {"subject": {"id": "s"}, "readings": 5}, far, week(1, options={"guideline": "none"}),
            week(1) | {"readigns": []}, _strict(_with_bad_readings()[0]),
            # More than one request may hold, but small: one huge body would hide in the noise what a leak adds.
            week(1) | {"readings": [0] * 5001}]  # fmt: skip


def _strict(payload: dict) -> dict:
    return payload | {"options": {**payload["options"], "strict": True}}


def _with_bad_readings() -> list[dict]:
    whole = week(4)
    slips = [{"systolic": 1240}, {"systolic": None}, {"taken_at": "yesterday"}, {"setting": "hoem"}, {"sytolic": 1},
             {"diastolic": "81"}, {"id": "r-0-7-0"}, {"systolic": 80, "diastolic": 120}]  # fmt: skip
    return [
        whole | {"readings": [*whole["readings"], reading("2026-03-09T07:00:00+01:00", 130, 80) | slip]} for slip in slips
    ] + [whole | {"readings": [5, None, *whole["readings"]]}]


def _no_json() -> list[bytes]:
    return [b"", b"{", b"NaN", b"\xff", b'{"subject": 1e999', b"[" * 5000, orjson.dumps(demo()[0])[:-7]]


def _lines(good: list[dict]) -> list[Case]:
    lines = [orjson.dumps(payload) for payload in good]
    several = [lines[:5], [b"{", lines[6], b"{}", b"", lines[7]], [b"\xff"], []]
    return [posted(b"\n".join(one) + b"\n", NDJSON) for one in several]


def _not_understood() -> list[Case]:
    body = orjson.dumps(week(1))
    return [posted(body, "text/plain"), Case("POST", ASSESSMENTS, body), Case("GET", ASSESSMENTS),
            Case("DELETE", "/health"), Case("GET", "/"), Case("GET", "/v1/nowhere"), Case("GET", "/v1/rules/none"),
            Case("POST", "/v1/nowhere", body)]  # fmt: skip


def _reading_routes() -> list[Case]:
    names = ("rules", "rules/legs-crossed", "guidelines", "protocols", "facts")
    return [Case("GET", f"/v1/{name}") for name in names] + [Case("GET", "/health"), Case("GET", "/ready")]
