"""Logs filled in and read back: the answer is that of the same readings sent as a request, in whatever language."""

import json
from datetime import date, time, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from filled import FilledLog, assessed, languages
from heartlevel.handouts.asked_logs import log_for
from heartlevel.handouts.log_sheet import LogSheet
from heartlevel.handouts.log_workbook import log_workbook
from support import answer, examples, rules

PROTOCOLS, ZONE = sorted(rules().ruleset.protocols), "Europe/Oslo"
PRESSURES = st.integers(60, 260)


@st.composite
def logs(draw) -> LogSheet:
    options = {
        "time_zone": ZONE,
        "language": draw(st.sampled_from(languages())),
        "protocol": draw(st.sampled_from(PROTOCOLS)),
    }
    subject = {"id": draw(st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=20))}
    subject |= draw(st.sampled_from([{}, {"age_years": 50}, {"pregnant": True, "age_years": 30}]))
    first = draw(st.dates(date(2020, 1, 1), date(2030, 1, 1)))
    return log_for({"subject": subject, "readings": [], "options": options}, rules(), draw(st.integers(1, 4)), first)


@st.composite
def fillings(draw, log: LogSheet) -> list[dict]:
    """What a person writes: by row, the hour, minute and pressures; by sitting, an answer to the first question."""
    rows = draw(st.sets(st.integers(0, log.days * len(log.sittings) * log.readings - 1), min_size=1, max_size=8))
    (asked, *_) = [question for question in log.questions if question.answers]
    return [
        {"row": row, "clock": time(6 + row % (len(log.sittings) * log.readings), draw(st.integers(0, 59))),
         "systolic": draw(PRESSURES), "diastolic": draw(st.integers(30, 140)),
         "comma": draw(st.booleans()), "answer": draw(st.sampled_from([None, *asked.answers])), "asked": asked}
        for row in sorted(rows)
    ]  # fmt: skip


def write(filled: FilledLog, filling: dict) -> None:
    filled.put(filling["row"], "systolic", f"{filling['systolic']},0" if filling["comma"] else filling["systolic"])
    filled.put(filling["row"], "diastolic", filling["diastolic"])
    cell = filled.sheet.cell(filled.head + 1 + filling["row"], filled.names.index("taken_at") + 1)
    cell.value = filling["clock"]
    filled.put(filling["row"], filling["asked"].field.name, filling["answer"])


def as_request(log: LogSheet, fillings: list[dict]) -> dict:
    """The same as a program would send it; the last answer written in a sitting holds for all of it."""
    answers = {filling["row"] // log.readings: filling["answer"] for filling in fillings}
    readings = []
    for filling in fillings:
        day = log.dates[filling["row"] // (len(log.sittings) * log.readings)]
        meant = answers[filling["row"] // log.readings]
        value = filling["asked"].answers[meant] if meant else None
        *_, key = filling["asked"].field.path
        readings.append({
            "taken_at": f"{day} {filling['clock']}", "setting": "home", "systolic": filling["systolic"],
            "diastolic": filling["diastolic"], "technique": {key: {"true": True, "false": False}.get(value, value)},
        })  # fmt: skip
    carried = {name.removeprefix("subject."): value for name, value in log.fixed.items() if name.startswith("subject.")}
    options = {name.removeprefix("options."): value for name, value in log.fixed.items() if name.startswith("options.")}
    return {"subject": {"id": log.subject, **carried}, "readings": readings, "options": options}


@settings(max_examples=examples(15), deadline=None)
@given(st.data())
def test_a_log_filled_in_is_read_as_the_same_readings_in_a_request(data):
    log = data.draw(logs())
    written = data.draw(fillings(log))
    filled = FilledLog(log_workbook(log))
    for filling in written:
        write(filled, filling)
    with TemporaryDirectory() as folder:
        result = assessed(filled.save(Path(folder) / "log.xlsx"), "--to", "ndjson")
    (read_back,) = [json.loads(line) for line in result.stdout.splitlines()]
    assert read_back == json.loads(json.dumps(answer(as_request(log, written))))


@settings(max_examples=examples(10), deadline=None)
@given(st.data())
def test_nonsense_in_a_cell_is_named_by_its_cell_and_costs_no_severe_value(data):
    log = data.draw(logs())
    filled = FilledLog(log_workbook(log))
    sitting = log.readings
    column = data.draw(st.sampled_from(["systolic", "diastolic", "pulse", "taken_at"]))
    nonsense = data.draw(st.sampled_from(["?", "high", "12:5x", "n/a", "128/82"]))
    for row, systolic in ((0, 225), (sitting, 130)):
        filled.sheet.cell(filled.head + 1 + row, filled.names.index("taken_at") + 1).value = time(7, 10)
        filled.put(row, "systolic", systolic)
        filled.put(row, "diastolic", 130 if row == 0 else 80)
    number = filled.names.index(column) + 1
    cell = filled.sheet.cell(filled.head + 1 + sitting, number)
    cell.value = nonsense
    with TemporaryDirectory() as folder:
        path = filled.save(Path(folder) / "log.xlsx")
        result = assessed(path, "--to", "ndjson", "--problems", f"{folder}/problems")
        problems = [json.loads(line) for line in Path(folder, "problems").read_text().splitlines()]
    assert result.exit_code == 30  # something urgent, something unreadable
    assert {problem["line"] for problem in problems} == {cell.row}
    if column != "taken_at":  # a time is read from two cells
        assert {problem["column"] for problem in problems} == {f"{filled.sheet.title}!{cell.column_letter} ({column})"}


def test_an_empty_log_holds_no_reading_and_answers_without_a_reading_are_passed_over(tmp_path):
    log = log_for({"subject": {"id": "s-1"}, "readings": [], "options": {"time_zone": ZONE}}, rules(), 3, date(2026, 3, 2))
    filled = FilledLog(log_workbook(log))
    filled.put(0, log.questions[0].field.name, next(iter(log.questions[0].answers)))
    result = assessed(filled.save(tmp_path / "log.xlsx"))
    assert (result.exit_code, result.stdout) == (0, "")


def test_a_log_without_a_name_or_dates_takes_them_from_cells_written_once(tmp_path):
    log = log_for({"subject": {"id": "x"}, "readings": [], "options": {"time_zone": ZONE}}, rules(), 2)
    filled = FilledLog(log_workbook(log))
    day = len(log.sittings) * log.readings
    filled.put(0, "(subject)", "s-7")
    for number in range(2):
        filled.put(number * day, "(taken_at)", date(2026, 3, 2) + timedelta(days=number))
        filled.put(number * day, "systolic", 131)
        filled.put(number * day, "diastolic", 81)
        filled.sheet.cell(filled.head + 1 + number * day, filled.names.index("taken_at") + 1).value = time(7, 10)
    result = assessed(filled.save(tmp_path / "log.xlsx"), "--to", "ndjson")
    (read_back,) = [json.loads(line) for line in result.stdout.splitlines()]
    assert read_back["subject"] == {"id": "s-7"}
    assert [reading["id"] for reading in read_back["readings"]] == ["@2026-03-02 07:10:00", "@2026-03-03 07:10:00"]
