"""Spreadsheets as inputs: where the table is, what cells say, and what cannot be read."""

import json
import zlib
from datetime import date, datetime, time, timedelta
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile

import pytest
from openpyxl import load_workbook
from openpyxl.workbook import Workbook

from filled import assessed, workbook
from heartlevel.bulk.inputs import workbook as reading
from support import as_rows, assess_in_process, requests

HEAD = ["subject", "taken_at", "setting", "systolic", "diastolic", "options.time_zone"]


def row(taken_at="2026-03-02 07:10", systolic=130, diastolic=80, subject="s-1"):
    return [subject, taken_at, "home", systolic, diastolic, "Europe/Oslo"]


def answers(path, *options):
    result = assessed(path, "--to", "ndjson", *options)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return [json.loads(line) for line in result.stdout.splitlines()]


def problems(path):
    assessed(path, "--to", "ndjson", "--problems", str(path.with_suffix(".problems")))
    return [json.loads(line) for line in path.with_suffix(".problems").read_text().splitlines()]


def pressures(answer):
    return [(reading["id"], reading["systolic"], reading["diastolic"]) for reading in answer["readings"]]


def test_a_spreadsheet_is_assessed_as_its_rows_are_by_any_other_door(tmp_path):
    rows = as_rows(requests(3))
    for one in rows:
        one.pop("technique", None)
    path = workbook(tmp_path / "rows.xlsx", list(rows[0]), *(list(one.values()) for one in rows))
    (tmp_path / "rows.csv").write_text(
        "\n".join(",".join(map(str, one)) for one in [list(rows[0]), *map(dict.values, rows)])
    )
    by_csv = assess_in_process(str(tmp_path / "rows.csv"), "--to", "ndjson")
    assert assessed(path, "--to", "ndjson").stdout == by_csv.stdout != ""


def test_the_table_begins_at_the_row_that_names_the_fields_on_whatever_sheet(tmp_path):
    path = workbook(tmp_path / "a.xlsx", ["A title"], [], ["and more"], HEAD, row(), title="First")
    book = load_workbook(path)
    book.create_sheet("Notes", 0).append(["nothing of interest"])
    book.save(path)
    (answer,) = answers(path)
    assert pressures(answer) == [("@2026-03-02 07:10", 130.0, 80.0)]


def test_two_sheets_with_a_table_are_refused_by_name(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row(), title="March")
    book = load_workbook(path)
    book.copy_worksheet(book.active).title = "April"
    book.save(path)
    result = assessed(path)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "more than one sheet holds a table: 'March', 'April'" in result.stderr


@pytest.mark.parametrize(("cell", "read"), [
    (datetime(2026, 3, 2, 7, 10), "2026-03-02T07:10:00"),
    (datetime(2026, 3, 2), "2026-03-02T00:00:00"),  # midnight, shown with its hour
    ("2026-03-02 07:10", "2026-03-02 07:10"),
    ("2026-03-02T07:10:00+01:00", "2026-03-02T07:10:00+01:00"),
])  # fmt: skip
def test_a_time_in_one_cell(tmp_path, cell, read):
    (answer,) = answers(workbook(tmp_path / "a.xlsx", HEAD, row(cell)))
    assert [reading["id"] for reading in answer["readings"]] == [f"@{read}"]


@pytest.mark.parametrize(("clock", "read"), [
    (time(7, 10), "07:10:00"), (time(0), "00:00:00"), ("07:10", "07:10"), ("7:10", "07:10"),
    (timedelta(hours=7, minutes=10), "07:10:00"),
])  # fmt: skip
def test_a_date_and_a_time_of_day_in_two_cells(tmp_path, clock, read):
    head = ["subject", "taken_at", "taken_at", *HEAD[2:]]
    (answer,) = answers(workbook(tmp_path / "a.xlsx", head, ["s-1", date(2026, 3, 2), clock, *row()[2:]]))
    assert [reading["id"] for reading in answer["readings"]] == [f"@2026-03-02 {read}"]


def test_times_stored_a_little_off_are_read_to_the_second(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row(46083.2986111111))  # a day's fraction to ten digits, as 07:10 is stored
    book = load_workbook(path)
    book.active["B2"].number_format = "yyyy-mm-dd hh:mm"
    book.save(path)
    (answer,) = answers(path)
    assert [reading["id"] for reading in answer["readings"]] == ["@2026-03-02T07:10:00"]


@pytest.mark.parametrize(("cell", "pressure"), [
    ("142,5", 142.5), ("142.5", 142.5), (142.5, 142.5), (142.0, 142.0), (" 142 ", 142.0), ("=140+2", None),
    ("#N/A", None), (True, None), (datetime(2026, 5, 12), None), ("1,420", None),
])  # fmt: skip
def test_a_pressure_in_a_cell_is_read_or_named_by_its_cell(tmp_path, cell, pressure):
    path = workbook(tmp_path / "a.xlsx", ["Title"], HEAD, row(systolic=cell))
    (answer,) = answers(path)
    assert [found for _, found, _ in pressures(answer)] == ([] if pressure is None else [pressure])
    named = [(one["line"], one["column"], one["code"]) for one in problems(path)]
    assert named == ([] if pressure is not None else [(3, "Readings!D (systolic)", "not-a-number")])


def test_the_last_result_of_a_formula_counts(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row(systolic=1))
    with ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    with_formula = parts[sheet].replace(b'<c r="D2" t="n"><v>1</v></c>', b'<c r="D2"><f>140+2</f><v>142</v></c>')
    assert with_formula != parts[sheet]
    with ZipFile(path, "w", ZIP_DEFLATED) as archive:
        for name, content in (parts | {sheet: with_formula}).items():
            archive.writestr(name, content)
    (answer,) = answers(path)
    assert [systolic for _, systolic, _ in pressures(answer)] == [142.0]


def test_empty_rows_are_no_readings_and_half_a_row_is_a_problem(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row(), [], row("2026-03-02 20:10", 131, None), [None] * 6)
    (answer,) = answers(path)
    assert answer["counts"]["received"] == 2
    assert [(one["line"], one["column"], one["code"]) for one in problems(path)] == [
        (4, "Readings!E (diastolic)", "missing")
    ]


@pytest.mark.parametrize("left_out", ["subject", "taken_at"])
def test_a_severe_value_is_told_though_its_row_names_nobody_or_no_time(tmp_path, left_out):
    filled = row(systolic=225, diastolic=130)
    filled[HEAD.index(left_out)] = None
    result = assessed(workbook(tmp_path / "a.xlsx", HEAD, filled))
    assert result.exit_code == 30  # something urgent, something unreadable


def test_a_column_without_a_name_is_passed_over_only_if_nothing_stands_in_it(tmp_path):
    empty = workbook(tmp_path / "a.xlsx", [*HEAD, None, "ward"], [*row(), None, None])
    assert "column 'ward' is not understood" in assessed(empty).stderr
    filled = workbook(tmp_path / "b.xlsx", [*HEAD, None], [*row(), "what is this"])
    assert "column 'column G' is not understood" in assessed(filled).stderr


def test_a_mapping_says_what_the_columns_of_a_spreadsheet_mean(tmp_path):
    mapping = tmp_path / "columns.yaml"
    mapping.write_text("columns: {Patient: subject, When: taken_at, Upper: systolic, Lower: diastolic}\n"
                       "fixed: {setting: home}\ntime_zone: Europe/Oslo\nignore: everything-else\n")  # fmt: skip
    path = workbook(tmp_path / "a.xlsx", ["Ward 7"], ["Patient", "When", "Upper", "Lower"],
                    ["s-1", datetime(2026, 3, 2, 7, 10), 130, 80])  # fmt: skip
    (answer,) = answers(path, "--columns", str(mapping))
    assert pressures(answer) == [("@2026-03-02T07:10:00", 130.0, 80.0)]


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 and no more", b"subject,systolic\n"])
def test_what_is_no_spreadsheet_is_said_to_be_none(tmp_path, content):
    (tmp_path / "a.xlsx").write_bytes(content)
    result = assessed(tmp_path / "a.xlsx")
    assert (result.exit_code, "not a whole spreadsheet" in result.stderr) == (2, True), result.output


def test_a_spreadsheet_whose_parts_are_damaged_is_said_to_be_none(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row())
    with ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for name in parts:
        with ZipFile(tmp_path / "b.xlsx", "w") as archive:
            for other, content in parts.items():
                archive.writestr(other, content[: len(content) // 2] if other == name else content)
        result = assessed(tmp_path / "b.xlsx")
        assert result.exit_code in (0, 2), (name, result.output, result.exception)


def test_a_spreadsheet_without_anything_in_it_is_told(tmp_path):
    Workbook().save(tmp_path / "a.xlsx")
    result = assessed(tmp_path / "a.xlsx")
    assert (result.exit_code, "nothing stands in the sheets" in result.stderr) == (2, True)


def test_a_spreadsheet_that_would_fill_the_memory_is_refused(tmp_path, monkeypatch):
    path = workbook(tmp_path / "a.xlsx", HEAD, row())
    book = load_workbook(path)
    book.active.cell(1_000_000, 10).value = 1
    book.save(tmp_path / "far.xlsx")
    assert "reaches over more than 2000000 cells" in assessed(tmp_path / "far.xlsx").stderr
    monkeypatch.setattr(reading, "LARGEST", 100)
    assert "larger than 100 bytes once unpacked" in assessed(path).stderr


def rewrite_sheet(path, change) -> None:
    with ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, change(content) if "sheet1" in name else content)


def test_a_spreadsheet_with_merged_cells_without_end_is_refused(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row())
    merged = b'<mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells></worksheet>'
    rewrite_sheet(path, lambda content: content.replace(b"</worksheet>", merged))
    assert "cells are merged" in assessed(path).stderr


def test_entities_that_grow_without_end_are_refused(tmp_path):
    """The attack is known as billion laughs (CVE-2003-1564)."""
    path = workbook(tmp_path / "a.xlsx", HEAD, row())
    bomb = b'<!DOCTYPE a [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    rewrite_sheet(path, lambda content: bomb + content)
    result = assessed(path)
    assert (result.exit_code, "declares a document type" in result.stderr) == (2, True), result.output


def test_what_is_told_of_a_spreadsheet_before_it_is_assessed_names_its_cells(tmp_path):
    path = workbook(tmp_path / "a.xlsx", HEAD, row(systolic="high"))
    result = assessed(path, "--dry-run")
    assert result.exit_code == 20
    assert "! Readings!D (systolic): " in result.stdout
    assert "2026" not in result.stdout.replace(str(path), "")


def test_a_zone_and_times_of_a_spreadsheet_are_as_they_are_in_a_request(tmp_path):
    (answer,) = answers(workbook(tmp_path / "a.xlsx", HEAD, row(datetime(2026, 3, 29, 2, 30)), row("2026-03-30 07:10")))
    assert answer["counts"]["lost"] == 1  # the clocks skip that hour in Oslo (IANA time zone database)


def with_broken_compression(path) -> bytes:
    """Return a workbook in which a byte of what is compressed is another, so that it cannot be decompressed."""
    right = path.read_bytes()
    with ZipFile(path) as archive:
        begin = archive.getinfo("xl/styles.xml").header_offset + 50
    for at in range(begin, len(right)):
        path.write_bytes(right[:at] + bytes([right[at] ^ 0xFF]) + right[at + 1 :])
        try:
            with ZipFile(path) as archive:
                archive.testzip()
        except zlib.error:
            return path.read_bytes()
        except BadZipFile:
            continue
    raise AssertionError("no byte breaks the compression")


def with_a_password(path) -> bytes:
    """Return a workbook of which every part says that it is encrypted (bit 0 of its flags, in the list at the end)."""
    content = bytearray(path.read_bytes())
    at = content.find(b"PK\x01\x02")
    while at >= 0:
        content[at + 8] |= 1
        at = content.find(b"PK\x01\x02", at + 1)
    return bytes(content)


@pytest.mark.parametrize("damaged", [with_broken_compression, with_a_password])
def test_a_workbook_that_cannot_be_unpacked_is_said_to_be_none(tmp_path, damaged):
    path = workbook(tmp_path / "a.xlsx", HEAD, row())
    path.write_bytes(damaged(path))
    result = assessed(path)
    assert (result.exit_code, "not a whole spreadsheet" in result.stderr) == (2, True), repr(result.exception)
