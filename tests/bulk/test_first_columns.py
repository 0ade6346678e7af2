"""Before a run: a first columns file, what the first rows would do, and a format of times that is another one."""

import json

import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

from heartlevel.bulk.columns.first_mapping import first_mapping
from heartlevel.bulk.columns.mapping_file import mapped_by
from heartlevel.command.main import main
from heartlevel.tables.guesses import guessed
from support import as_csv, as_ndjson, as_rows, assess_in_process, requests

COLUMNS = """
columns: {Patient: subject, Day: taken_at, Hour: taken_at, SYS: systolic, DIA: diastolic,
          Where: {to: setting, values: {H: home}}}
time_zone: Europe/Oslo
time_format: "%d.%m.%Y %H:%M"
ignore: [Ward]
"""
HEAD = "Patient;Day;Hour;SYS;DIA;Where;Ward\n"
BAD = (
    HEAD
    + """s-1;01.03.2026;07:10;128;79;H;secret
s-1;02.03.2026;07:10;12x;79;H;secret
s-1;03.03.2026;07:10;secret;79;H;secret
s-1;13.03.2026;07:10;1280;79;Q;secret
;14.03.2026;07:10;128;79;H;secret
s-2;15.03.2026;07:10;128;79
s-3;16.03.2026;07:10;128;79;H;secret
s-3;17.03.2026;07:10;;79;H;secret
"""
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "m.yaml").write_text(COLUMNS)
    return tmp_path


def tried(folder, table, *more):
    (folder / "t.csv").write_text(table)
    return assess_in_process(folder / "t.csv", "--columns", folder / "m.yaml", *more)


def columns(*arguments):
    return CliRunner().invoke(main, ["columns", *map(str, arguments)])


def test_a_dry_run_tells_what_would_fail_by_column_and_line_and_shows_no_value(folder):
    result = tried(folder, BAD, "--dry-run", "--output", folder / "o.ndjson", "--problems", folder / "p")
    failures = [line.removeprefix("  ! ") for line in result.stdout.splitlines() if line.startswith("  ! ")]
    assert failures == [
        "SYS: expected a number from 1 to 400 mm[Hg] [not-a-number]: 2, on line 3, 4",
        "a row as a whole: the row has more or fewer cells than the header [cells-differ]: 1, on line 7",
        "a row as a whole: the row names no subject [no-subject]: 1, on line 6",
        "SYS: required, but not there; expected a number from 1 to 400 mm[Hg] [missing]: 1, on line 9",
        "SYS: expected a number from 1 to 400 mm[Hg] [out-of-range]: 1, on line 5",
        "Where: expected one of home, office, work, pharmacy, ambulatory [not-one-of]: 1, on line 5",
    ]
    assert (result.exit_code, "first 8 tried: would fail:" in result.stdout) == (20, True)
    assert not {"secret", "12x", "1280"} & set(result.stdout.replace(";", " ").split())
    assert sorted(path.name for path in folder.iterdir()) == ["m.yaml", "t.csv"]


def test_what_a_dry_run_tells_is_what_the_run_then_names(folder):
    told = tried(folder, BAD, "--dry-run").stdout
    tried(folder, BAD, "--problems", folder / "p", "--json")
    named = [json.loads(line) for line in (folder / "p").read_text().splitlines()]
    for fault in named:
        (line,) = (
            line for line in told.splitlines() if f"! {fault['column'] or 'a row'}" in line and f"[{fault['code']}]" in line
        )
        assert str(fault["line"]) in line.partition("on line ")[2].split(", ")
    assert len(named) == 7


def test_no_more_than_a_thousand_rows_are_looked_at(folder):
    good = "".join(f"s-{n};01.03.2026;07:10;128;79;H;x\n" for n in range(1000))
    result = tried(folder, HEAD + good + "s-x;01.03.2026;07:10;bad;79;H;x\n", "--dry-run")
    assert (result.exit_code, result.stdout.splitlines()[-1]) == (
        0,
        f"{folder / 't.csv'}: first 1000 tried: nothing would fail",
    )


def test_requests_are_tried_too(tmp_path):
    path = tmp_path / "r.ndjson"
    path.write_bytes(as_ndjson([*requests(3), {"subject": {"id": "x"}, "readings": [{"systolic": "y"}]}]) + b"{\n")
    result = assess_in_process(path, "--dry-run")
    assert result.exit_code == 20
    assert "/readings/*/systolic: expected a number from 1 to 400 mm[Hg] [not-a-number]: 1, on line 4" in result.stdout
    assert "[not-json]: 1, on line 5" in result.stdout


@pytest.mark.parametrize("more", [["--output", "o.ndjson"], ["--to", "tables", "--output", "o"], []])
def test_a_wrong_format_of_times_stops_the_run_before_it_writes(folder, more):
    (folder / "m.yaml").write_text(COLUMNS.replace("%d.%m", "%m.%d"))
    rows = "".join(f"s-1;{day:02d}.03.2026;07:10;128;79;H;x\n" for day in range(1, 29))
    arguments = [folder / name if name.startswith("o") else name for name in more]
    result = tried(folder, HEAD + rows, *arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "of the first 28 times 16 are written otherwise, such as on line 14, 15, 16" in result.stderr
    assert sorted(path.name for path in folder.iterdir()) == ["m.yaml", "t.csv"]
    dry = tried(folder, HEAD + rows, "--dry-run")
    assert (dry.exit_code, "! time_format '%m.%d.%Y %H:%M'" in dry.stdout) == (2, True)


@pytest.mark.parametrize(("slips", "others", "code"), [(2, 1, 20), (3, 27, 20), (3, 18, 2), (1, 0, 2)])
def test_a_few_slips_stop_nothing(folder, slips, others, code):
    days = ["soon"] * slips + [f"{day:02d}.03.2026" for day in range(1, 1 + others)]
    rows = "".join(f"s-1;{day};07:10;128;79;H;x\n" for day in days)
    assert tried(folder, HEAD + rows, "--json").exit_code == code


def test_times_of_iso_8601_may_stand_beside_any_format(folder):
    rows = "".join(f"s-1;2026-03-{day:02d};07:10;128;79;H;x\n" for day in range(1, 8))
    assert tried(folder, HEAD + rows, "--json").exit_code == 0


def test_a_first_columns_file_is_written_from_a_header(tmp_path):
    path, output = tmp_path / "t.csv", tmp_path / "columns.yaml"
    path.write_text(
        "Patient;Date;Time;SYS (kPa);DIA [kPa];Arm rested_minutes;Legs Crossd;Ward;systolic\ns-1;a;b;c;d;e;f;g;h\n"
    )
    assert columns(path, "--output", output).exit_code == 0
    lines = output.read_text().splitlines()
    assert lines[2:9] == [
        "columns:", "  Patient: subject", "  Date: taken_at", "  Time: taken_at",
        '  "SYS (kPa)": {to: systolic, unit: kPa}',
        '  "DIA [kPa]": {to: diastolic, unit: kPa}', "  Legs Crossd: technique.legs_crossed   # a near match: is it so?",
    ]  # fmt: skip
    assert {line.split(":")[0] for line in lines[9:12]} == {"  # Arm rested_minutes", "  # Ward", "  # systolic"}
    assert "#   setting: every row needs it and no column was found" in lines
    assert columns(path).stdout == output.read_text()


def test_a_first_columns_file_reads_a_table_of_our_own_names_and_of_usual_ones(tmp_path):
    rows = as_rows(requests(3))
    theirs = {"subject": "Patient ID", "taken_at": "Measured at", "systolic": "SBP (mmHg)", "diastolic": "DBP (mmHg)"}
    answers = []
    for names in ({}, theirs):
        (tmp_path / "t.csv").write_text(
            as_csv([{names.get(key, key): value for key, value in row.items()} for row in rows])
        )
        columns(tmp_path / "t.csv", "--output", tmp_path / f"m{len(names)}.yaml")
        result = assess_in_process(tmp_path / "t.csv", "--columns", tmp_path / f"m{len(names)}.yaml", "--json")
        answers.append(result.stdout)
    assert answers[0] and answers[0] == answers[1]


def test_no_file_is_written_over_and_only_a_table_has_columns(tmp_path):
    table, sent = tmp_path / "t.csv", tmp_path / "r.ndjson"
    table.write_text("Patient\n")
    sent.write_bytes(as_ndjson(requests(1)))
    assert columns(table, "--output", table).exit_code == 2 and table.read_text() == "Patient\n"
    for wrong in (sent, tmp_path / "none.csv", tmp_path):
        result = columns(wrong)
        assert (result.exit_code, result.stdout) == (2, "") and str(wrong) in result.stderr


@settings(max_examples=60)
@given(st.lists(st.text(max_size=30) | st.sampled_from(["SYS (kPa)", "DIA", "yes", "# no", "a: b", "x" * 200]), max_size=8))
@example(["measured at", "measured at"])
def test_whatever_a_header_holds_the_file_can_be_read_and_means_what_it_says(tmp_path_factory, names):
    path = tmp_path_factory.mktemp("columns") / "m.yaml"
    path.write_text(first_mapping(names), encoding="utf-8", newline="\n")
    mapped = mapped_by(path)
    for guess in guessed(names):
        if guess.field not in (None, "systolic", "diastolic"):
            assert mapped.columns[guess.column].to == guess.field
