"""The columns of a log as a spreadsheet: what each is called, what stands in it beforehand, and what it takes."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from typing import Any

from heartlevel.handouts.log_sheet import LogSheet
from heartlevel.handouts.questions import Question
from heartlevel.intake.fields import Number
from heartlevel.tables.fields import FIELDS, SUBJECT, as_laid_out
from heartlevel.vocabulary import PRESSURES

WHOLE, DAY, SITTING, READING = range(4)  # how often something is written in a column
EARLIEST, LATEST = date(2000, 1, 1), date(2100, 12, 31)
LAST_MINUTE = time(23, 59, 59)
PULSE = "pulse"


@dataclass(frozen=True, slots=True)
class LogColumn:
    """A column. `value` takes the number, from 0, of the day, sitting or reading; None leaves a cell to be filled in."""

    name: str  # in the hidden row
    heading: str
    every: int
    width: float
    value: Callable[[int], Any] = lambda number: None
    to_fill_in: bool = False
    takes: Mapping[str, Any] | None = None  # a validation, as XlsxWriter has it
    answers: Sequence[str] = field(default_factory=tuple)  # to choose from
    number_format: str = ""
    hidden: bool = False


def columns_of(log: LogSheet) -> list[LogColumn]:
    """Return the columns from left to right."""
    words = log.words
    return [
        LogColumn("(=day)", words["log-day"], DAY, 5, lambda number: number + 1),
        LogColumn(as_laid_out("taken_at"), words["log-date"], DAY, 12, lambda number: log.dates[number], True,
                  _date(log), number_format="yyyy-mm-dd"),
        LogColumn("(=when)", words["log-when"], SITTING, 9, lambda number: log.sittings[number % len(log.sittings)]),
        LogColumn("(=number)", words["log-reading"], READING, 8, lambda number: number % log.readings + 1),
        LogColumn("taken_at", words["log-time"], READING, 8, to_fill_in=True, takes=_time(log), number_format="hh:mm"),
        *(_number(log, name) for name in (*PRESSURES, PULSE)),
        *(_asked(log, question) for question in log.questions),
        LogColumn(as_laid_out(SUBJECT), words["log-name"], WHOLE, 14, lambda number: log.subject, True),
        *(LogColumn(as_laid_out(name), name, WHOLE, 8, lambda number, value=value: value, hidden=True)  # type: ignore[misc]
          for name, value in log.fixed.items()),
    ]  # fmt: skip


def _message(log: LogSheet, key: str, **values: object) -> dict[str, Any]:
    """Return what is said where something else is written."""
    return {"error_title": log.words["log-wrong"][:32], "error_message": log.words[key].format(**values)[:255]}


def _date(log: LogSheet) -> dict[str, Any]:
    example = (log.first_day or date(2026, 3, 2)).isoformat()
    limits = {"validate": "date", "criteria": "between", "minimum": EARLIEST, "maximum": LATEST}
    return limits | _message(log, "log-wrong-date", date=example)


def _time(log: LogSheet) -> dict[str, Any]:
    limits = {"validate": "time", "criteria": "between", "minimum": time(), "maximum": LAST_MINUTE}
    return limits | _message(log, "log-wrong-time")


def _number(log: LogSheet, name: str) -> LogColumn:
    return LogColumn(name, log.words[f"log-{name}"], READING, 9, to_fill_in=True, takes=_within(log, FIELDS[name].declared))


def _within(log: LogSheet, declared: Any) -> dict[str, Any]:
    assert isinstance(declared, Number)
    low, high = declared.low, declared.high
    limits = {"validate": "decimal", "criteria": "between", "minimum": low, "maximum": high}
    return limits | _message(log, "log-wrong-number", low=f"{low:g}", high=f"{high:g}")


def _asked(log: LogSheet, question: Question) -> LogColumn:
    if not question.answers:
        limits = _within(log, question.field.declared)
        return LogColumn(question.field.name, question.text, SITTING, 14, to_fill_in=True, takes=limits)
    refusal = {"validate": "list"} | _message(log, "log-wrong-word")
    answers = tuple(question.answers)
    return LogColumn(question.field.name, question.text, SITTING, 14, to_fill_in=True, takes=refusal, answers=answers)
