"""Columns mapped, rows brought together, bad rows named without their values."""

import json
import random

import numpy as np
import pyarrow
import pytest

from heartlevel.bulk.parts import grouping, sequence, sheets
from heartlevel.bulk.parts.sheets import NamedRows, name_rows
from support import as_csv, as_ndjson, as_rows, assess_in_process, requests, rules

PAYLOADS = requests(12)
MAPPING = """
columns:
  Patient: subject
  Day: taken_at
  Hour: taken_at
  SYS: {to: systolic, unit: kPa}
  DIA: {to: diastolic, unit: kPa}
  Where: {to: setting, values: {H: home, P: office, "?": null}}
  Arm: {to: subject.arm_circumference_cm.left, unit: mm}
  Talked: {to: technique.talking, values: {yes: true, no: false}}
  Cuff from: cuff.arm_min_cm
fixed: {taken_by: self}
time_zone: Europe/Oslo
time_format: "%d.%m.%Y %H:%M"
decimal: ","
ignore: [Ward]
"""
TABLE = """Patient;Day;Hour;SYS;DIA;Where;Arm;Talked;Cuff from;Ward
s-1;01.03.2026;07:10;18,9;10,9;H;291;yes;22;a secret
s-1;01.03.2026;07:12;18,8;10,8;H;291;no;22;a secret
"""
A_ZONE = "expected an IANA time zone name (did you mean 'Europe/Oslo'?)"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "m.yaml").write_text(MAPPING)
    return tmp_path


def run(folder, table, *more):
    (folder / "t.csv").write_text(table)
    result = assess_in_process(folder / "t.csv", "--json", "--problems", folder / "p", *more)
    problems = [json.loads(line) for line in (folder / "p").read_text().splitlines()] if (folder / "p").exists() else []
    return result, [json.loads(line) for line in result.stdout.splitlines()], problems


def test_a_mapped_table_is_the_request_it_says(folder):
    _, (answer,), problems = run(folder, TABLE, "--columns", folder / "m.yaml")
    device = {"id": "d", "cuff": {"arm_min_cm": 22}}
    readings = [
        {"taken_at": f"2026-03-01T07:1{minute}:00", "systolic": systolic, "diastolic": diastolic, "unit": "kPa",
         "setting": "home", "taken_by": "self", "device": "d", "technique": {"talking": talking}}
        for minute, systolic, diastolic, talking in [(0, 18.9, 10.9, True), (2, 18.8, 10.8, False)]
    ]  # fmt: skip
    request = {"subject": {"id": "s-1", "arm_circumference_cm": {"left": 29.1}}, "devices": [device],
               "readings": readings, "options": {"time_zone": "Europe/Oslo"}}  # fmt: skip
    wanted = json.loads(assess_in_process("-", "--json", given=json.dumps(request)).stdout)
    for one in (answer, wanted):
        for finding in one["findings"]:
            finding.pop("devices", None)  # a device without a name is given one
    assert answer == wanted
    assert problems == []


def test_a_dry_run_says_how_columns_are_understood_and_shows_no_value(folder):
    (folder / "t.csv").write_text(TABLE.replace("Ward", "systolc"))
    result = assess_in_process(folder / "t.csv", "--columns", folder / "m.yaml", "--dry-run")
    assert result.exit_code == 2
    assert "SYS        -> systolic (number mm[Hg], here in kPa); here: number" in result.stdout
    assert "Arm        -> subject.arm_circumference_cm.left (number cm, here in mm); here: number" in result.stdout
    assert "systolc    NOT UNDERSTOOD (did you mean 'systolic'?); here: text" in result.stdout
    told = result.stdout.replace(str(folder), "")  # a name made by chance may have such letters in it
    assert not any(value in told for value in ("secret", "18,9", "291", "s-1", "07:10"))


def test_a_dry_run_of_a_table_that_can_be_read_ends_with_nought(folder):
    (folder / "t.csv").write_text(TABLE)
    result = assess_in_process(folder / "t.csv", "--columns", folder / "m.yaml", "--dry-run")
    assert (result.exit_code, "left out" in result.stdout) == (0, True)


def test_columns_missing_doubled_or_not_understood_stop_the_run_at_once(folder):
    result, _, _ = run(folder, "subject,taken_at,systolic,systolic,setting,colour\n")
    assert result.exit_code == 2
    assert [line.partition(": ")[2] for line in result.stderr.splitlines()] == [
        "no column for diastolic",
        "column 'colour' is not understood; map it, or name it under `ignore`",
        "more than one column for systolic",
    ]


@pytest.mark.parametrize(
    ("mapping", "fault"),
    [
        ("columns: {A: systolc}", "columns: A: systolc: no such name (did you mean 'systolic'?)"),
        ("colums: {}", "colums: no such name (did you mean 'columns'?)"),
        ("columns: {A: {to: systolic, unit: cm}}", "columns: A: unit: expected one of mm[Hg], kPa"),
        (
            "columns: {A: {to: systolic, unit: kPa}, B: diastolic}",
            "columns: systolic and diastolic must have the same unit",
        ),
        ("columns: {A: {to: setting, unit: cm}}", "columns: A: unit: expected one of none, as the field has no unit"),
        ("columns: [A]", "columns: a mapping is expected"),
        ("decimal: true", "decimal: one character is expected"),
        ("fixed: {where: home}", "fixed: where: no such name"),
        ("- a", "a mapping is expected"),
    ],
)
def test_a_mapping_at_fault_is_a_wrong_call_that_says_where(folder, mapping, fault):
    (folder / "m.yaml").write_text(mapping)
    result, _, _ = run(folder, TABLE, "--columns", folder / "m.yaml")
    assert (result.exit_code, result.stderr.strip()) == (2, f"{folder}/m.yaml: {fault}")


def test_bad_rows_are_named_by_line_and_column_without_values_and_cost_no_other(folder):
    table = (
        "subject,taken_at,systolic,diastolic,setting,subject.age_years\n"
        "s-1,2026-03-01T07:10:00Z,oops77,80,home,50\n"
        '\ns-1,2026-03-01T07:12:00Z,121,80,"home",51\n'
        ",2026-03-01T07:12:00Z,121,80,home,50\n"
        "s-2,too,few\n"
        '"s-\n3",2026-03-01T07:12:00Z,121,80,home,977\n'
        "s-4,2026-03-01T07:12:00Z,121,80,home,50\n"
    )
    (folder / "t.csv").write_text(table)
    result, answers, problems = run(folder, table)
    assert result.exit_code == 20
    assert {one["subject"]["id"] for one in answers} == {"s-1", "s-\n3", "s-4"}
    found = sorted((one["line"], one["column"], one["pointer"], one["code"]) for one in problems)
    assert found == [
        (2, "systolic", "/readings/0/systolic", "not-a-number"),
        (4, "subject.age_years", None, "rows-differ"),
        (5, None, None, "no-subject"),
        (6, None, None, "cells-differ"),
        (7, "subject.age_years", "/subject/age_years", "out-of-range"),
    ]
    assert not any(value in (folder / "p").read_text() for value in ("oops77", "977"))


def test_a_line_that_is_no_utf8_costs_no_other(folder):
    table = as_csv(as_rows(PAYLOADS[:2])).encode().splitlines(keepends=True)
    (folder / "t.csv").write_bytes(b"".join([*table[:2], b"\xff\xfe,1,2\n", *table[2:]]))
    result = assess_in_process(folder / "t.csv", "--json", "--problems", folder / "p")
    (found,) = [json.loads(line) for line in (folder / "p").read_text().splitlines()]
    assert (found["line"], found["code"], len(result.stdout.splitlines())) == (3, "not-utf-8", 2)


def answers_of(rows, folder, *more):
    return sorted(run(folder, as_csv(rows), *more)[0].stdout.splitlines())


@pytest.mark.parametrize("largest", [8 * 1024 * 1024, 200])
def test_rows_in_any_order_are_brought_together(folder, monkeypatch, largest):
    monkeypatch.setattr(grouping, "LARGEST_BUCKET", largest)
    monkeypatch.setattr(grouping, "BUCKETS", 3)
    rows = as_rows(PAYLOADS)
    shuffled = random.Random(3).sample(rows, len(rows))
    wanted = sorted(assess_in_process("-", "--json", given=as_ndjson(PAYLOADS)).stdout.splitlines())
    assert answers_of(shuffled, folder) == answers_of(rows, folder) == wanted


def test_subjects_go_on_from_one_table_into_the_next(folder):
    rows = as_rows(PAYLOADS)
    for number in range(3):
        (folder / f"{number}.csv").write_text(as_csv(rows[number::3]))
    found = assess_in_process(*sorted(folder.glob("*.csv")), "--json").stdout
    assert sorted(found.splitlines()) == answers_of(rows, folder)


def test_grouped_rows_are_answered_in_their_order_and_a_subject_that_returns_is_named(folder):
    rows = as_rows(PAYLOADS)
    _, answers, problems = run(folder, as_csv([*rows, rows[0]]), "--grouped")
    assert [one["subject"]["id"] for one in answers] == [one["subject"]["id"] for one in PAYLOADS]
    assert [(one["line"], one["code"]) for one in problems] == [(len(rows) + 2, "subject-returned")]


def test_many_grouped_subjects_must_ascend(folder, monkeypatch):
    monkeypatch.setattr(sequence, "MOST_REMEMBERED", 4)
    rows = as_rows(PAYLOADS)
    _, _, problems = run(folder, as_csv([*rows, rows[0]]), "--grouped")
    assert [one["code"] for one in problems] == ["subject-returned"]
    assert run(folder, as_csv(rows[::-1]), "--grouped")[0].exit_code == 2


def as_named(subjects: list[str]) -> list[NamedRows]:
    """Rows without cells, a few at a time."""
    return [name_rows(0, [], np.arange(start, start + len(some)), pyarrow.array(some))
            for start in range(0, len(subjects), 100) for some in [subjects[start : start + 100]]]  # fmt: skip


def test_a_large_bucket_is_parted_again_until_it_is_small(tmp_path, monkeypatch):
    monkeypatch.setattr(grouping, "LARGEST_BUCKET", 1_300)  # eight subjects of ten rows
    monkeypatch.setattr(grouping, "BUCKETS", 3)
    found = list(grouping.gathered(as_named([f"s-{number % 90}" for number in range(900)]), tmp_path))
    assert sorted(name for one in found for name in one.subjects) == sorted(f"s-{number}" for number in range(90))
    assert all((one.counts() == 10).all() for one in found)
    assert max(len(one.subjects) for one in found) <= 8


def test_rows_come_in_the_same_order_whether_they_waited_in_files_or_not(tmp_path, monkeypatch):
    rows = as_named([f"s-{number % 90}" for number in range(900)])
    opened, write = [], grouping._write
    monkeypatch.setattr(grouping, "_write", lambda file, named: opened.append(file.name) or write(file, named))

    def gathered() -> list:
        return [
            (one.subjects, [sheet.to_pydict() for _, sheet in one.by_input]) for one in grouping.gathered(rows, tmp_path)
        ]

    waited = gathered()
    assert not opened
    monkeypatch.setattr(grouping, "MOST_WAITING", 4_000)  # two chunks of a hundred rows have more
    assert gathered() == waited
    assert len(opened) > len(set(opened)) > 1
    assert not list(tmp_path.iterdir())


def test_no_more_rows_of_a_subject_are_held_than_are_needed_to_refuse_it(tmp_path, monkeypatch):
    for module in (sheets, sequence):
        monkeypatch.setattr(module, "MOST_ROWS", 3)
    rows = as_named(["many"] * 900)
    for found in (grouping.gathered(rows, tmp_path), sequence.in_sequence(rows)):
        assert [one.counts().tolist() for one in found] == [[3]]


def test_a_subject_with_too_many_rows_is_refused_and_costs_no_other(folder):
    rows = [{"subject": "many", "taken_at": "x", "systolic": 1, "diastolic": 1, "setting": "home"}] * 5002
    rows.append({**rows[0], "subject": "few"})
    _, answers, problems = run(folder, as_csv(rows))
    assert [one["subject"]["id"] for one in answers] == ["few"]
    assert "too-many-readings" in {one["code"] for one in problems}


@pytest.mark.parametrize(
    ("mapping", "fault"),
    [
        ("time_zone: Europe/Olso", f"time_zone: found 'Europe/Olso'; {A_ZONE}"),
        ("time_zone: 1", "time_zone: a text is expected"),
        ("fixed: {options.time_zone: Oslo}", f"fixed: options.time_zone: found 'Oslo'; {A_ZONE}"),
        (
            "fixed: {taken_by: slef}",
            "fixed: taken_by: found 'slef'; expected one of self, carer, staff, unattended (did you mean 'self'?)",
        ),
        ("fixed: {subject.age_years: 580}", "fixed: subject.age_years: found 580; expected a number from 0 to 130 a"),
        (
            "columns: {A: {to: taken_by, values: {S: slef}}}",
            "columns: A: values: S: found 'slef'; expected one of self, carer, staff, unattended (did you mean 'self'?)",
        ),
        ("time_format: '%d.%m.%Q'", "time_format: is no format of a time"),
        ("time_format: '%d.%m.%Y'", "time_format: must hold year, month, day and hour"),
        ("time_format: '%d.%m.%Y %I:%M'", "time_format: must hold year, month, day and hour"),
    ],
)
def test_a_slip_that_would_cost_every_row_stops_the_run_before_the_first(folder, mapping, fault):
    (folder / "m.yaml").write_text(mapping)
    result, _, _ = run(folder, TABLE, "--columns", folder / "m.yaml")
    assert (result.exit_code, result.stderr.strip()) == (2, f"{folder}/m.yaml: {fault}")


@pytest.mark.parametrize(
    "more", ["time_format: '%Y%m%dT%H%M%z'", "time_format: '%d/%m/%y %H'", "fixed: {options.as_of: 2026-03-09}"]
)
def test_values_that_fields_take_are_no_slips(folder, more):
    (folder / "m.yaml").write_text(more)
    (folder / "t.csv").write_text("subject,taken_at,systolic,diastolic,setting\n")
    assert assess_in_process(folder / "t.csv", "--columns", folder / "m.yaml").exit_code == 0


def test_a_dry_run_takes_no_number_that_the_run_would_not_take(folder):
    (folder / "m.yaml").write_text(MAPPING.replace('decimal: ","', ""))
    thousands = TABLE.replace("18,9", "1,890").replace("18,8", "1,880")  # or kilopascals with three decimals
    (folder / "t.csv").write_text(thousands)
    result = assess_in_process(folder / "t.csv", "--columns", folder / "m.yaml", "--dry-run")
    assert "SYS        -> systolic (number mm[Hg], here in kPa); here: text" in result.stdout


def test_rows_that_differ_are_named_on_the_screen_where_no_file_takes_them(folder):
    rows = as_rows(PAYLOADS[:1])
    rows[2]["subject.age_years"] = 99
    (folder / "t.csv").write_text(as_csv(rows))
    result = assess_in_process(folder / "t.csv", "--json")
    said = "subject.age_years: an earlier row of this subject, or device, says otherwise; the earlier one was taken"
    assert (result.exit_code, result.stderr.strip()) == (30, f"{folder}/t.csv:4: {said}")


def test_what_is_wrong_with_options_is_said_on_the_screen_without_values(folder):
    table = "subject,taken_at,systolic,diastolic,setting,options.as_of,options.strict\n"
    (folder / "t.csv").write_text(table + "s-1,2026-03-01T07:10:00Z,121,80,home,last year,perhaps\n")
    result = assess_in_process(folder / "t.csv", "--json")
    assert result.stderr.splitlines() == [
        f"{folder}/t.csv:2: the request cannot be assessed",
        f"{folder}/t.csv:2: options.as_of: expected a calendar date, YYYY-MM-DD, or a date and time",
        f"{folder}/t.csv:2: options.strict: expected true or false",
    ]


def test_a_person_of_whom_a_detail_cannot_be_read_is_assessed_and_the_detail_named(folder):
    table = "subject,taken_at,systolic,diastolic,setting,subject.age_years\n"
    (folder / "t.csv").write_text(table + "s-1,2026-03-01T07:10:00Z,201,131,home,9771\n")
    result = assess_in_process(folder / "t.csv", "--json", "--problems", folder / "p")
    named = [json.loads(line) for line in (folder / "p").read_text().splitlines()]
    assert [(one["line"], one["column"], one["code"]) for one in named] == [(2, "subject.age_years", "out-of-range")]
    assert (result.exit_code, json.loads(result.stdout)["urgent"]) == (30, True)
    assert "9771" not in result.stderr + (folder / "p").read_text()


def test_what_is_wrong_with_a_request_is_said_on_the_screen_without_values():
    payload = {"subject": {"id": "x", "age_years": 9771, "pregnnt": 5}, "readings": [], "options": {"guideline": "nobodys"}}
    result = assess_in_process("-", "--json", given=json.dumps(payload))
    assert result.stderr.splitlines()[1:] == [
        "<stdin>:1: /options/guideline: expected one of " + ", ".join(sorted(rules().ruleset.guidelines)),
        "<stdin>:1: /subject/age_years: expected a number from 0 to 130 a",
        "<stdin>:1: /subject/pregnnt: no field of that name is defined here (did you mean 'pregnant'?)",
    ]


def test_problems_without_values_still_make_sense(folder):
    table = TABLE.replace("18,9", "189").replace("01.03.2026;07:12", "29.03.2026;02:30")
    _, _, problems = run(folder, table, "--columns", folder / "m.yaml")
    assert [(one["column"], one["detail"]) for one in problems] == [
        ("SYS", "no blood pressure is that high in kPa"),
        ("Day", "found a value, which the clocks of the time zone skipped"),
    ]
