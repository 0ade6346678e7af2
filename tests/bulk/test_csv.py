"""CSV split a run of lines at a time gives the rows, and the bad lines, that reading it row by row gives."""

import io
import random
from contextlib import contextmanager

import pytest

from heartlevel.bulk.inputs import csv_chunks
from heartlevel.bulk.inputs.chunks import BadRow
from heartlevel.intake.ndjson import LineTooLong
from heartlevel.tables.meanings import Mapped

PIECES = [
    b"a,b,c\n", b"1,2,3\n", b'"q",x,y\n', b'"multi\nline",2,3\n', b"\n", b"  \n", b"1,2\n", b"1,2,3,4\n", b"\xff,1,2\n",
    b"x,y,z\r\n", b'un"q,2,3\n', "é,ü,x\n".encode(), b",,\n", b"1,2,3\r4,5,6\n", b'"open,2,3\n', b"\t\t\n", b"\0,1,2\n",
    b"x" * 60 + b",1,2\n",
]  # fmt: skip


class Bytes:
    """Stands for an input."""

    def __init__(self, content: bytes) -> None:
        self.content = content

    @contextmanager
    def open(self, meter=None):
        yield io.BytesIO(self.content)


def read(content: bytes) -> tuple[list, list]:
    rows, bad = [], []
    for one in csv_chunks.chunks_of_csv(Bytes(content), Mapped()):
        if isinstance(one, BadRow):
            bad.append((one.line, one.code))
        else:
            rows += zip(one.lines.tolist(), zip(*(column.to_pylist() for column in one.cells), strict=True), strict=True)
    return rows, sorted(bad)


def test_both_ways_of_reading_agree_wherever_the_pieces_end(monkeypatch):
    drawn, at_once = random.Random(1), []

    def counted(*given, real=csv_chunks.split):
        at_once.append(real(*given) is not None)
        return real(*given)

    for _ in range(1500):
        content = b"s,t,u\n" + b"".join(drawn.choices(PIECES[:2] * 6 + PIECES, k=drawn.randint(0, 9)))
        content = content.rstrip(b"\n") if drawn.random() < 0.3 else content
        content = content.replace(b",", b"\t") if drawn.random() < 0.1 else content
        monkeypatch.setattr(csv_chunks, "PIECE", drawn.choice([5, 16, 40, 1000]))
        monkeypatch.setattr(csv_chunks, "LONGEST_ROW", 40)
        monkeypatch.setattr(csv_chunks, "split", counted)
        found = read(content)
        monkeypatch.setattr(csv_chunks, "split", lambda *given: None)
        assert found == read(content), content
    assert 300 < sum(at_once) < len(at_once)


@pytest.mark.parametrize("piece", [1, 2, 3, 7])
def test_runs_of_lines_are_the_file_but_for_what_is_too_long(monkeypatch, piece):
    monkeypatch.setattr(csv_chunks, "PIECE", piece)
    monkeypatch.setattr(csv_chunks, "LONGEST_ROW", 9)
    content = b"head\nab\nc\n" + b"x" * 30 + b"\nlast"
    found = list(csv_chunks.runs_of(io.BytesIO(content)))
    assert found[0] == (1, b"head\n")
    short = b"".join(run for _, run in found if isinstance(run, bytes) and len(run) < 20)
    assert short == b"head\nab\nc\nlast"
    assert [number for number, run in found if isinstance(run, LineTooLong) or b"x" in run] == [4]
    assert found[-1] == (5, b"last") or found[-1][1].endswith(b"last")
