"""NDJSON: one answer a line, in order, whatever the lines are."""

import io
import json
from collections.abc import Iterator

import pytest

from heartlevel import answer_to
from heartlevel.intake.ndjson import PIECE, numbered_lines, request_texts, requests_in_stream
from heartlevel.legible import legible_urgencies
from heartlevel.one_call import MOST_BYTES_TOGETHER, TOGETHER, answer_decoded, in_batches
from heartlevel.web.application import create_app
from support import demo, rules, week

STRICT = {**week(days=1), "options": {"strict": True}, "readings": [{"systolic": 1}]}


@pytest.fixture(scope="module")
def app():
    return create_app({"MAX_CONTENT_LENGTH": 2_000, "MOST_READINGS": 100}, rules())


class Counted:
    """A stream that remembers how far it was read."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self.pieces, self.taken = pieces, 0

    def read(self, size: int, /) -> bytes:
        self.taken += 1
        return next(self.pieces, b"")


def test_every_line_is_answered_in_its_place(client):
    lines = [*map(json.dumps, [demo()[0], STRICT, {"subject": {"id": "x"}}, demo()[1]])]
    lines[1:1] = ["{", ""]
    response = client.post("/v1/assessments", data="\n".join(lines), content_type="application/x-ndjson")
    got = [json.loads(line) for line in response.data.splitlines()]
    assert [got[0], got[4]] == [json.loads(json.dumps(answer_to(demo()[n], rules()))) for n in (0, 1)]
    assert [(one["line"], one["detail"]) for one in got[1:4]] == [
        (2, "not JSON: column 2"), (4, "the request cannot be assessed"), (5, "the request cannot be assessed")
    ]  # fmt: skip
    assert got[3]["problems"][0]["pointer"] == "/readings"


def test_a_stream_names_the_rules_of_all_its_lines_and_may_pin_them(client):
    kind = "application/x-ndjson"
    response = client.post("/v1/assessments", data=json.dumps(week(days=1)) + "\n{", content_type=kind)
    tag = response.headers["ETag"]
    assert tag == f'"{json.loads(response.data.splitlines()[0])["made_with"]["rules"]["fingerprint"]}"'
    assert client.post("/v1/assessments", data="{", content_type=kind, headers={"If-Match": tag}).status_code == 200
    for other in ('"sha256:0"', f"W/{tag}"):  # a weak tag matches nothing (RFC 9110, 13.1.1)
        refused = client.post("/v1/assessments", data="{", content_type=kind, headers={"If-Match": other})
        assert (refused.status_code, refused.headers["ETag"]) == (412, tag)


def test_a_stream_may_be_longer_than_one_request(client):
    body = (json.dumps(week(days=2)) + "\n") * 40
    assert len(body) > 2_000
    response = client.post("/v1/assessments", data=body, content_type="application/x-ndjson")
    assert (response.status_code, len(response.data.splitlines())) == (200, 40)


def test_one_request_may_not(client):
    assert client.post("/v1/assessments", json=week(days=7)).status_code == 413


def test_a_line_with_too_many_readings_is_refused_alone(client):
    many = week(days=7, pressures=[(120, 80)] * 10)
    body = json.dumps(many) + "\n" + json.dumps(week(days=1))
    first, second = client.post("/v1/assessments", data=body, content_type="application/x-ndjson").data.splitlines()
    assert json.loads(first)["detail"] == "140 readings; one request may hold 100"
    assert json.loads(second)["subject"] == {"id": "s-1"}


def test_lines_are_answered_before_the_stream_is_read_to_its_end():
    line = json.dumps(week(days=1)).encode() + b"\n"
    stream = Counted(iter([line] * 10 * TOGETHER))
    next(answer_decoded(requests_in_stream(stream), rules()))
    assert stream.taken <= TOGETHER + 1


REFUSED = [
    b"{}",
    b"1",
    b"{",
    b'{"readings": [{"systolic": 212, "diastolic": 131}]}',
    b'{"readings": [{"systolic": 231, "dia',
]


def test_refused_lines_are_looked_at_together_and_none_differently_than_alone(monkeypatch):
    looks = []

    def looked(payloads, in_force):
        looks.append(len(payloads))
        return legible_urgencies(payloads, in_force)

    alone = [next(answer_decoded(requests_in_stream(io.BytesIO(line)), rules())).as_dict() for line in REFUSED]
    monkeypatch.setattr("heartlevel.one_call.legible_urgencies", looked)
    together = [
        outcome.as_dict() for outcome in answer_decoded(requests_in_stream(io.BytesIO(b"\n".join(REFUSED))), rules())
    ]
    assert [{**told, "line": 1} for told in together] == alone
    assert [told.get("urgent") for told in together] == [False, False, None, True, True]
    assert looks == [4]  # nothing is legible of the third


@pytest.mark.parametrize("line", [json.dumps(week()).encode(), b"{", b"1"])
def test_fewer_lines_are_assessed_together_where_they_are_long(line):
    long = line + b" " * (MOST_BYTES_TOGETHER // 2) + b"\n"
    assert [*map(len, in_batches(requests_in_stream(io.BytesIO(long * 5))))] == [2, 2, 1]
    assert [*map(len, in_batches(requests_in_stream(io.BytesIO((line + b"\n") * 40))))] == [TOGETHER, 8]


@pytest.mark.parametrize("cut", [1, 7, 4_096])
def test_lines_are_the_same_however_the_stream_is_cut(cut):
    text = b"one\n\n two \r\nthree"
    pieces = iter([text[at : at + cut] for at in range(0, len(text), cut)])
    assert list(numbered_lines(Counted(pieces))) == [(1, b"one"), (3, b" two \r"), (4, b"three")]


def test_a_line_too_long_costs_no_other_and_is_never_held():
    pieces = iter([b"good\n" + b"x" * PIECE, b"x" * PIECE, b"x\nlast\n", b"y" * 20 + b"\nend"])
    found = [line if isinstance(line, bytes) else None for _, line in numbered_lines(Counted(pieces), longest=10)]
    assert found == [b"good", None, b"last", None, b"end"]


def whole(text: bytes) -> list[tuple[int, bytes]]:
    return list(request_texts(Counted(iter([text]))))


def test_a_file_is_one_request_or_one_a_line():
    assert whole(b'{"a":\n 1}\n') == [(1, b'{"a":\n 1}')]
    assert whole(b'{"a": 1}\n{"b": 2}\n') == [(1, b'{"a": 1}'), (2, b'{"b": 2}')]
    assert whole(b'{"a": \n{"b": 2}\n') == [(1, b'{"a": '), (2, b'{"b": 2}')]
    assert whole(b"") == []
