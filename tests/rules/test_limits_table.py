"""Limits and categories as a table: what is edited in a spreadsheet comes back as a layer that says the same."""

import csv
import io

import pytest
import yaml
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.command.main import main
from heartlevel.ruling.files.layering.declared import LayerBlock
from heartlevel.ruling.files.layers import merged
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.tools.limits.edited import changes_in, table_in
from heartlevel.ruling.tools.limits.layer import layer_file
from heartlevel.ruling.tools.limits.table import PARTS_OF_CATEGORY, as_csv, category_row, cells_of, numbers_of_guidelines
from support import examples, rules

GUIDELINES = {name: guideline.written for name, guideline in rules().ruleset.guidelines.items()}
NAMES = list(GUIDELINES)
CELLS = cells_of(GUIDELINES)
PRESSURE_ROWS = [row for row in numbers_of_guidelines() if row.endswith(("systolic", "diastolic"))]
UNPUBLISHED_ROWS = [row for row in PRESSURE_ROWS if "ambulatory" in row or "unattended" in row]
TITLES = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=20)


def numbers(most: int):
    return st.decimals(0, most, places=1).map(lambda number: f"{float(number):.15g}")


@st.composite
def edits(draw) -> dict[tuple[str, str], str]:
    """Other limits, limits unpublished, titles, and a category more or less, in any guidelines."""
    limits = st.tuples(st.sampled_from(PRESSURE_ROWS), st.sampled_from(NAMES))
    edited = draw(st.dictionaries(limits, numbers(400), max_size=6))
    unpublished = st.tuples(st.sampled_from(UNPUBLISHED_ROWS), st.sampled_from(NAMES))
    edited |= draw(st.dictionaries(unpublished, st.just("none"), max_size=3))
    for name in draw(st.lists(st.sampled_from(NAMES), unique=True, max_size=3)):
        setting = draw(st.sampled_from(["office", "home"]))
        last = len(GUIDELINES[name]["categories"][setting])
        edited[category_row(setting, 1, "title"), name] = draw(TITLES)
        if draw(st.booleans()):
            edited |= {(category_row(setting, last, part), name): "" for part in PARTS_OF_CATEGORY}
        else:
            added = ("added", draw(TITLES), draw(numbers(400)), draw(st.just("") | numbers(400)))
            parts = zip(PARTS_OF_CATEGORY, added, strict=True)
            edited |= {(category_row(setting, last + 1, part), name): text for part, text in parts}
    return edited


def read_back(text: str) -> tuple[dict, list[str]]:
    table = table_in(text, "edited.csv", NAMES)
    changes = changes_in(table, GUIDELINES)
    return changes, [str(fault) for fault in table.faults]


@given(edits(), st.sampled_from([",", ";", "\t"]), st.booleans())
@settings(max_examples=examples(15), deadline=None)
def test_an_edited_table_comes_back_as_changes_that_make_the_same_table(edited, delimiter, with_mark):
    wanted = {**CELLS, **edited}
    with_every_row = {cell: text or CELLS.get(cell, "") for cell, text in wanted.items()}
    head, *rows = csv.reader(io.StringIO(as_csv(with_every_row, NAMES)))
    rows = [head, *([row[0], row[1], *(wanted.get((row[0], name), "") for name in NAMES)] for row in rows)]
    saved = io.StringIO()
    csv.writer(saved, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    changes, faults = read_back(("\ufeff" if with_mark else "") + saved.getvalue())
    assert faults == []
    layer = yaml.safe_load(layer_file(changes, "Ours", "1", "Protocol 7")) if changes else {"changes": []}
    again = dict(GUIDELINES)
    for change in layer["changes"]:
        again[change["id"]] = merged(again[change["id"]], change["set"])
    made = cells_of(again)
    assert {cell: text for cell, text in made.items() if text} == {cell: text for cell, text in wanted.items() if text}
    assert LayerBlock().validate({"name": "Ours", "revision": "1", **layer}) == {}


def test_a_table_that_was_not_edited_changes_nothing():
    assert read_back(as_csv(CELLS, NAMES)) == ({}, [])


def test_columns_and_rows_that_are_left_out_stay_as_they_are():
    text = "limit,esc-2024\nlimits.severe.diastolic,115\n"
    assert read_back(text) == ({"esc-2024": {"limits": {"severe": {"diastolic": 115}}}}, [])


def edited(**cells: str) -> str:
    row, name, value = (cells[key] for key in ("row", "name", "value"))
    return as_csv({**CELLS, (row, name): value}, NAMES)


PRESSURE, LOW = "expected a number from 0 to 400", "limits.low.systolic"
# By what is wrong: the row, what is written there, and the code and the words of the fault.
WRONG = {
    "a letter for a digit": (LOW, "9O", "not-a-number", f"found '9O'; {PRESSURE}"),
    "a decimal comma": (LOW, "89,5", "not-a-number", f"found '89,5'; {PRESSURE} (a comma within a number? decimals take a"),
    "too high": (LOW, "900", "out-of-range", f"found '900'; {PRESSURE}"),
    "nothing": (LOW, "", "not-a-number", f"found ''; {PRESSURE}"),
    "none where one must be": (LOW, "none", "null", f"found 'none'; {PRESSURE}"),
    "half a day": ("after_birth_days", "42.5", "not-whole", f"found '42.5'; {PRESSURE}"),
    "Python's own": (LOW, "9_0", "not-a-number", f"found '9_0'; {PRESSURE}"),
    "no name": ("categories.home.2.id", "Über uns", "not-a-name", "found 'Über uns'; expected kebab-case name"),
    "a category without its name": ("categories.home.2.id", "", "missing", "it is empty, and the category has other cells"),
    "a gap": ("categories.home.9.id", "later", "categories-order", "there is no category before this one"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_fault_is_named_by_row_and_column(wrong):
    row, value, code, told = WRONG[wrong]
    text = edited(row=row, name="esc-2024", value=value)
    line = next(number for number, cells in enumerate(csv.reader(io.StringIO(text)), start=1) if cells[0] == row)
    _, faults = read_back(text)
    wanted = f"edited.csv:{line}:5: {code}: row {row}, column esc-2024: {told}"
    assert any(fault.startswith(wanted) for fault in faults), faults


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "edited.csv:1:1: missing: the first row begins with 'limit', then has the guidelines"),
        ("limit,esc-2042\n", "edited.csv:1:2: unknown-name: there is no guideline 'esc-2042' (did you mean 'esc-2024'?)"),
        ("limit,esc-2024,esc-2024\n", "edited.csv:1:3: repeated-key: the column 'esc-2024' is there twice"),
        ("limit,esc-2024\nlimits.low.systolc,90\n",
         "edited.csv:2:1: unknown-limit: 'limits.low.systolc' is no row of this table (did you mean 'limits.low.syst"),
        ("limit,esc-2024\nlimits.low.systolic,90\nlimits.low.systolic,91\n",
         "edited.csv:3:1: repeated-key: the row 'limits.low.systolic' is in line 2 already"),
        ("limit,esc-2024\nlimits.low.systolic,90,5\n",
         "edited.csv:2:3: too-many: 3 cells; the first row has 2 (a comma within a number or a text? put the cell"),
    ],
)  # fmt: skip
def test_a_table_that_is_none_is_told_where(text, told):
    assert any(fault.startswith(told) for fault in read_back(text)[1])


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["rules", "table", *map(str, arguments)])


def test_a_clinics_limit_goes_by_spreadsheet_into_a_layer_that_is_sound(tmp_path):
    saved, clinic = tmp_path / "limits.csv", tmp_path / "clinic"
    assert invoke("--csv", saved).exit_code == 0
    row = "limits.ambulatory-day.hypertension.systolic,mm[Hg],"
    text = saved.read_text()
    column = text.splitlines()[0].split(",").index("esc-2024")
    lines = [line.split(",") for line in text.splitlines()]
    next(line for line in lines if ",".join(line).startswith(row))[column] = "134"
    saved.write_text("\n".join(map(",".join, lines)) + "\n")
    done = invoke("--from", saved, "--reason", "Protocol 7", "--name", "Ours", "--revision", "2026-12", "--output", clinic)
    assert done.exit_code == 0, done.output
    written = (clinic / "layer.yaml").read_text()
    assert written.startswith("# yaml-language-server: $schema=file:///")
    limits = load(None, (clinic,)).guidelines["esc-2024"].limits
    assert limits["ambulatory-day.hypertension.systolic"] == 134
    assert limits["ambulatory-day.hypertension.diastolic"] == 85
    again = invoke("--from", saved, "--reason", "Protocol 7", "--output", clinic)
    assert (again.exit_code, "is there already" in again.stderr) == (1, True)
    in_force = invoke("--from", saved, "--reason", "Protocol 7", "--layer", clinic)
    assert (in_force.exit_code, "nothing in it differs" in in_force.stderr) == (1, True)


def test_what_cannot_be_taken_ends_the_command_with_every_fault_and_writes_nothing(tmp_path):
    saved = tmp_path / "limits.csv"
    saved.write_text("limit,esc-2024\nlimits.low.systolic,9O\nlimits.low.diastolic,x\n")
    done = invoke("--from", saved, "--reason", "x", "--output", tmp_path / "clinic")
    assert (done.exit_code, done.stderr.count("not-a-number")) == (1, 2)
    assert not (tmp_path / "clinic").exists()
    saved.write_bytes("limit;esc-2024\n".encode("utf-16"))
    assert "not UTF-8" in invoke("--from", saved, "--reason", "x").stderr
    assert invoke("--from", tmp_path, "--reason", "x").exit_code == 2
    assert invoke("--from", saved).exit_code == 2
    assert "esc-2042" in invoke("esc-2042").stderr


def test_guidelines_stand_side_by_side_and_in_blocks_where_the_screen_is_narrow(monkeypatch):
    monkeypatch.setenv("COLUMNS", "120")
    lines = invoke("acc-aha-2025", "esc-2024").stdout.splitlines()
    assert lines[0].split() == ["acc-aha-2025", "esc-2024"]
    assert "home.hypertension               130/80                       135/85" in lines
    assert any(line.split() == ["office", "category", "2", "Elevated", "120/-", "Elevated", "120/70"] for line in lines)
    monkeypatch.setenv("COLUMNS", "70")
    narrow = invoke("acc-aha-2025", "esc-2024").stdout.splitlines()
    assert len(narrow) == 2 * len(lines) + 1 and max(map(len, narrow)) <= 70


def test_the_table_on_the_screen_is_the_one_that_is_written(tmp_path):
    saved = tmp_path / "limits.csv"
    invoke("--csv", saved)
    assert invoke("--csv", "-").stdout == saved.read_text() == as_csv(CELLS, NAMES)


def test_every_limit_of_every_guideline_is_a_row():
    named = {row.removeprefix("limits.") for row in numbers_of_guidelines()}
    assert {limit for guideline in rules().ruleset.guidelines.values() for limit in guideline.limits} == named
