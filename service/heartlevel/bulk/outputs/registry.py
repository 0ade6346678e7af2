"""The formats that outputs may have: one entry each, by which --to, endings and files are known."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeAlias

from heartlevel.assessment import Rules
from heartlevel.bulk.outputs.answers import write_answer_lines, write_answer_rows
from heartlevel.bulk.outputs.findings import CSV_HEADER, write_finding_rows, write_findings_csv
from heartlevel.bulk.outputs.pieces import pieces_to_parquet
from heartlevel.bulk.outputs.result_rows import RESULT_TABLES, write_tables
from heartlevel.located import AssessedSubjects

# From the groups of a part, the rules and the names of the inputs to what is added to each file.
WritePart: TypeAlias = Callable[[Sequence[AssessedSubjects], Rules, Sequence[str]], list[bytes]]
Convert: TypeAlias = Callable[[Path, Path], None]  # from what was written to the file of that name


@dataclass(frozen=True, slots=True)
class OutputFormat:
    """A format of output. One with several tables is a folder; one converted at the end begins with a part of nobody."""

    name: str
    to: str  # the value of --to
    write: WritePart
    begins: bytes = b""
    ending: str = ""  # of outputs that are written so, where others of the same `to` are not
    tables: tuple[str, ...] = ()
    convert: Convert | None = None
    hides_problems: bool = False  # what could not be read is not in what is written

    def files(self, output: Path) -> list[Path]:
        """Return the files that are written."""
        return [output / f"{table}.parquet" for table in self.tables] or [output]

    def first(self, rules: Rules, names: Sequence[str]) -> list[bytes]:
        """Return what stands first in each file."""
        return self.write([], rules, names) if self.convert else [self.begins]


def _write_bundles(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    from heartlevel.bulk.outputs.bundles import write_bundles

    return write_bundles(groups, rules, names)


_few_rows = partial(pieces_to_parquet, rows_together=10_000, bytes_together=16 * 1024 * 1024)
_many_rows = partial(pieces_to_parquet, rows_together=131_072, bytes_together=None)
NDJSON = OutputFormat("ndjson", "ndjson", write_answer_lines)
BUNDLES = OutputFormat("fhir", "fhir", _write_bundles)
ANSWERS_PARQUET = OutputFormat("parquet", "parquet", write_answer_rows, convert=_few_rows)
FINDINGS_CSV = OutputFormat("findings-csv", "findings", write_findings_csv, begins=CSV_HEADER, hides_problems=True)
FINDINGS_PARQUET = OutputFormat("findings-parquet", "findings", write_finding_rows, ending=".parquet", convert=_few_rows,
                                hides_problems=True)  # fmt: skip
TABLES = OutputFormat("tables", "tables", write_tables, tables=RESULT_TABLES, convert=_many_rows)
OUTPUT_FORMATS = (NDJSON, ANSWERS_PARQUET, FINDINGS_CSV, FINDINGS_PARQUET, TABLES, BUNDLES)


def output_format(to: str, output: Path | None, formats: Iterable[OutputFormat] = OUTPUT_FORMATS) -> OutputFormat:
    """Return the format asked for as `to`; of several, that whose ending the output has, else the first."""
    fitting = [entry for entry in formats if entry.to == to]
    return next((entry for entry in fitting if output and entry.ending == output.suffix), fitting[0])


def default_format(output: Path) -> OutputFormat:
    """Return the format of an output where none is asked for."""
    return ANSWERS_PARQUET if output.suffix == ".parquet" else NDJSON
