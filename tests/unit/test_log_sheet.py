"""The log to fill in: what is laid out, what is asked of whom, what its cells refuse; nothing of it depends on the day."""

from datetime import date
from io import BytesIO

import pytest
from openpyxl import load_workbook

from filled import FilledLog, languages
from heartlevel.handouts.asked_logs import blank_log, log_for
from heartlevel.handouts.log_sheet import LogSheet
from heartlevel.handouts.log_workbook import NoTimeZone, log_workbook
from heartlevel.handouts.questions import MOST_QUESTIONS, questions_for
from heartlevel.intake.request import RefusedRequest
from support import answer, rules, week

ZONE = {"time_zone": "Europe/Oslo"}
FIRST = date(2026, 3, 2)


def blank(**options) -> LogSheet:
    return blank_log({**ZONE, **options}, rules(), None, FIRST)


def columns(log: LogSheet) -> dict[str, list]:
    filled = FilledLog(log_workbook(log))
    rows = list(filled.sheet.iter_rows(min_row=filled.head + 1, values_only=True))
    return {name: [row[number] for row in rows] for number, name in enumerate(filled.names)}


@pytest.mark.parametrize("protocol", sorted(rules().ruleset.protocols))
def test_days_sittings_and_readings_are_those_of_the_protocol(protocol):
    log, home = blank(protocol=protocol), rules().ruleset.protocols[protocol].written["home"]
    laid = columns(log)
    assert len(laid["systolic"]) == home["days"] * home["sittings_per_day"] * home["readings_per_sitting"]
    assert [day for day in laid["(=day)"] if day] == list(range(1, home["days"] + 1))
    assert laid["(=number)"][: home["readings_per_sitting"]] == [
        number + 1 for number in range(home["readings_per_sitting"])
    ]
    assert [name for name in laid["(=when)"] if name][:2] == ["Morning", "Evening"]


def test_dates_are_laid_out_from_the_first_day_or_left_to_the_person():
    days = [day.date() for day in columns(blank())["(taken_at)"] if day]
    assert days == [date(2026, 3, number) for number in range(2, 9)]
    assert not any(columns(blank_log(ZONE, rules()))["(taken_at)"])


def test_the_same_log_is_the_same_bytes():
    assert log_workbook(blank()) == log_workbook(blank())


def test_a_spreadsheet_without_a_zone_is_not_made():
    with pytest.raises(NoTimeZone, match="Europe/Oslo"):
        log_workbook(blank_log({}, rules()))


def test_options_that_cannot_be_are_named():
    with pytest.raises(RefusedRequest) as caught:
        blank_log({"protocol": "aha-ama-2202", "language": "de"}, rules())
    assert [problem.pointer for problem in caught.value.problems] == ["/options/protocol"]


@pytest.mark.parametrize("language", languages())
def test_every_question_has_words_in_every_language(language):
    asked = questions_for(rules().ruleset, language)
    assert len(asked) == MOST_QUESTIONS
    assert len({question.text for question in asked}) == MOST_QUESTIONS
    english = {question.field.name: question for question in questions_for(rules().ruleset, "en")}
    for question in asked:
        assert list(question.answers.values()) == list(english[question.field.name].answers.values())
        assert language == "en" or question.text != english[question.field.name].text


def names(**more) -> list[str]:
    return [question.field.name for question in questions_for(rules().ruleset, "en", answer(week(**more)))]


def test_what_was_done_wrong_is_asked_and_what_was_always_right_is_not_before_it():
    known = {"talking": False, "full_bladder": False, "arm_level": "heart", "rested_minutes": 5, "arm_supported": True,
             "back_supported": True, "feet_flat": True, "arm_relaxed": True, "bare_arm": True}  # fmt: skip
    assert names(technique={**known, "legs_crossed": True})[0] == "technique.legs_crossed"
    # Recorded everywhere but for one detail, whose fault is smaller than those of the others.
    assert names(technique=known)[0] == "technique.legs_crossed"


def test_with_nothing_recorded_the_largest_faults_are_asked():
    """Sizes are those of the rules: a full bladder up to 33 mmHg, an arm held low up to 23, talking up to 19."""
    assert names()[:3] == ["technique.full_bladder", "technique.arm_level", "technique.talking"]
    assert [question.field.name for question in questions_for(rules().ruleset, "en")] == names()


def test_cells_refuse_what_the_request_would_refuse():
    log = blank(language="de")
    filled = FilledLog(log_workbook(log))
    refusals = {
        filled.names[min(area.min_col for area in one.sqref.ranges) - 1]: one
        for one in filled.sheet.data_validations.dataValidation
    }
    limits = {name: (float(one.formula1), float(one.formula2)) for name, one in refusals.items() if one.type == "decimal"}
    assert limits == {"systolic": (1, 400), "diastolic": (0, 400), "pulse": (10, 400), "technique.rested_minutes": (0, 600)}
    assert (refusals["(taken_at)"].type, refusals["taken_at"].type) == ("date", "time")
    assert {one.type for one in refusals.values()} == {"decimal", "date", "time", "list"}
    assert "1 bis 400" in refusals["systolic"].error
    assert all(one.showErrorMessage and one.error for one in refusals.values())
    words = filled.workbook["(words)"]
    lists = {name: [cell.value for (cell,) in words[one.formula1.partition("!")[2].replace("$", "")]]
             for name, one in refusals.items() if one.type == "list"}  # fmt: skip
    assert lists["technique.talking"] == ["ja", "nein"]


def test_only_cells_to_fill_in_are_open():
    filled = FilledLog(log_workbook(blank()))
    open_ones = {
        name for number, name in enumerate(filled.names, start=1)
        if not filled.sheet.cell(filled.head + 1, number).protection.locked
    }  # fmt: skip
    assert filled.sheet.protection.sheet
    assert open_ones == {name for name in filled.names if not name.startswith("(")} | {"(taken_at)", "(subject)"}


@pytest.mark.parametrize(
    ("person", "severe"), [({}, "180"), ({"pregnant": True}, "160"), ({"days_since_birth": 10}, "160")]
)
def test_when_to_seek_help_follows_the_limits_that_hold_for_the_person(person, severe):
    """180/120: ACC/AHA 2025; in pregnancy and 42 days after birth 160/110: ISSHP 2021."""
    log = log_for({"subject": {"id": "s-1", **person}, "readings": [], "options": ZONE}, rules())
    assert severe in log.seek_help[1]
    assert ("maternity" in log.seek_help[1]) == bool(person)


def test_hostile_names_are_texts_in_the_spreadsheet():
    log = log_for({"subject": {"id": "=1+1"}, "readings": [], "options": ZONE}, rules())
    book = load_workbook(BytesIO(log_workbook(log)))
    cells = [cell for row in book.worksheets[0].iter_rows() for cell in row if cell.value == "=1+1"]
    assert [cell.data_type for cell in cells] == ["s"]
