"""The kinds of output: what is written of a subject, what stands first, and what is made of it at the end."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import orjson

from heartlevel.answer.whole import as_json
from heartlevel.bulk.converting import FINDING_COLUMNS, answers_table, findings_table, result_table

Answered: TypeAlias = Callable[[dict[str, Any]], bytes]
Found: TypeAlias = Callable[[Iterable[list[Any]]], bytes]
RESULT_TABLES = ("subjects", "averages", "findings", "readings")


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of output. What is written of a subject is made of its answer, of its findings alone, or is rows of tables."""

    name: str
    of_answer: Answered | None = None
    of_findings: Found | None = None
    begins: bytes = b""
    convert: Callable[[Path, Path], None] | None = None

    @property
    def is_tables(self) -> bool:
        """Tell whether several tables are written into a folder."""
        return self.of_answer is None and self.of_findings is None

    def files(self, output: Path) -> list[Path]:
        """Return the files that are written."""
        return [output / f"{name}.parquet" for name in RESULT_TABLES] if self.is_tables else [output]

    def written(self, answer: dict[str, Any]) -> bytes:
        """Return what is written of an answer."""
        if self.of_answer is not None:
            return self.of_answer(answer)
        assert self.of_findings is not None
        return self.of_findings(rows_of_findings(answer))


def whole_answer(answer: dict[str, Any]) -> bytes:
    """Write an answer as a line of JSON."""
    return as_json(answer) + b"\n"


def findings_as_lines(rows: Iterable[list[Any]]) -> bytes:
    """Write findings as lines of JSON, one a finding."""
    return b"".join(orjson.dumps(dict(zip(FINDING_COLUMNS, row, strict=True))) + b"\n" for row in rows)


def findings_as_csv(rows: Iterable[list[Any]]) -> bytes:
    """Write findings as CSV; lists and facts as JSON."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([_csv_cell(cell) for cell in row] for row in rows)
    return text.getvalue().encode()


def _csv_cell(cell: Any) -> Any:
    if isinstance(cell, bool):
        return str(cell).lower()
    return orjson.dumps(cell).decode() if isinstance(cell, list) else cell


def rows_of_findings(answer: dict[str, Any]) -> Iterator[list[Any]]:
    """Yield a row a finding of an answer."""
    return finding_rows(answer["subject"]["id"], answer["findings"], answer["made_with"]["rules"]["fingerprint"])


def finding_rows(subject: str, findings: Sequence[dict[str, Any]], fingerprint: str) -> Iterator[list[Any]]:
    """Yield a row a finding."""
    for one in findings:
        yield [subject, one["id"], *(one[name] for name in FINDING_COLUMNS[2:11]),
               orjson.dumps(one["facts"]).decode(), fingerprint]  # fmt: skip


NDJSON = Kind("ndjson", whole_answer)
ANSWERS_TABLE = Kind("parquet", whole_answer, convert=answers_table)
FINDINGS_CSV = Kind("findings-csv", of_findings=findings_as_csv, begins=",".join(FINDING_COLUMNS).encode() + b"\n")
FINDINGS_TABLE = Kind("findings-parquet", of_findings=findings_as_lines, convert=findings_table)
TABLES = Kind("tables", convert=result_table)
