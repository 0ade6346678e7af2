"""The formats that inputs may have: one entry each, by which endings, contents, --from and its help are known."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from re import compile as pattern

from heartlevel.bulk.inputs.arrays import split_json
from heartlevel.bulk.inputs.csv_chunks import chunks_of_csv, header_of_csv
from heartlevel.bulk.inputs.input import InputFormat, RequestFormat, TableFormat
from heartlevel.bulk.inputs.opening import COMPRESSED, beginning, decompressed
from heartlevel.bulk.inputs.parquet_chunks import chunks_of_parquet, header_of_parquet
from heartlevel.bulk.inputs.spreadsheets import chunks_of_spreadsheet, header_of_spreadsheet, labels_of_spreadsheet
from heartlevel.intake.ndjson import DecodedLine, RequestText, decode_json
from heartlevel.intake.own.form import Form
from heartlevel.tables.fields import ALIASES, FIELDS

BUNDLE = pattern(rb'[\s\[]*\{\s*"resourceType"\s*:\s*"(Bundle|Parameters)"')
BETWEEN_NAMES = pattern(r'[,;|\s"\ufeff]+')


def _begins_as_json(first: bytes, mapped: bool) -> bool:
    return first.lstrip()[:1] in (b"{", b"[")


def _begins_as_fhir(first: bytes, mapped: bool) -> bool:
    return BUNDLE.match(first) is not None


def _begins_as_csv(first: bytes, mapped: bool) -> bool:
    """Tell whether the first line names fields of the request, as the head of a table does, or names are mapped."""
    names = set(BETWEEN_NAMES.split(first.partition(b"\n")[0].decode("utf-8", "replace")))
    return mapped or not names.isdisjoint(FIELDS.keys() | ALIASES.keys())


def _begins_as_parquet(first: bytes, mapped: bool) -> bool:
    return first.startswith(b"PAR1")


def _begins_as_spreadsheet(first: bytes, mapped: bool) -> bool:
    return first.startswith(b"PK\x03\x04")


def _decode_plain(texts: Iterable[tuple[int, RequestText]], form: Form) -> Iterator[DecodedLine]:
    """Decode requests as they are: the form says nothing of how they are written."""
    return decode_json(texts)


def _decode_bundles(texts: Iterable[tuple[int, RequestText]], form: Form) -> Iterator[DecodedLine]:
    from heartlevel.fhir.reading.lines import decode_bundles

    return decode_bundles(texts, form)


JSON = RequestFormat("json", "JSON (one request, or an array) or NDJSON (a request a line)", (".json", ".ndjson", ".jsonl"),
                     _begins_as_json, split_json, _decode_plain)  # fmt: skip
FHIR = RequestFormat("fhir", "FHIR R4 (one Bundle or Parameters, an array, or one a line)", (".fhir",), _begins_as_fhir,
                     split_json, _decode_bundles)  # fmt: skip
PARQUET = TableFormat("parquet", "Parquet (a reading a row)", (".parquet",), _begins_as_parquet, header_of_parquet,
                      chunks_of_parquet)  # fmt: skip
CSV = TableFormat("csv", "CSV (a reading a row)", (".csv", ".tsv"), _begins_as_csv, header_of_csv, chunks_of_csv)
XLSX = TableFormat("xlsx", "a spreadsheet (.xlsx), such as a log that was filled in", (".xlsx",), _begins_as_spreadsheet,
                   header_of_spreadsheet, chunks_of_spreadsheet, labels_of_spreadsheet)  # fmt: skip
# Contents are tried in this order; what is of none is taken for the first.
INPUT_FORMATS: dict[str, InputFormat] = {entry.name: entry for entry in (FHIR, JSON, PARQUET, XLSX, CSV)}
ENDINGS = {ending: entry for entry in INPUT_FORMATS.values() for ending in entry.endings}


def ending_of(path: Path) -> str:
    """Return the ending of a file's name, without that of compression."""
    return (path.with_suffix("") if path.suffix in COMPRESSED else path).suffix.lower()


def format_of(path: Path, mapped: bool) -> InputFormat:
    """Return a file's format, by its ending or else by its content."""
    known = ENDINGS.get(ending_of(path))
    if known:
        return known
    with path.open("rb") as stored, decompressed(stored) as file:
        return format_by_content(beginning(file), mapped)


def format_by_content(first: bytes, mapped: bool) -> InputFormat:
    """Return the format of what begins so; `mapped` says that columns are mapped, so that it may be any table."""
    return next((entry for entry in INPUT_FORMATS.values() if entry.begins(first, mapped)), JSON)
