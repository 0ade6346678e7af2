"""What the person measured is told on a page: how it went, what to change, when to measure next, when to seek help.

Everything is taken from the answer; here it is only chosen and put in an order.
"""

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from typing import Any

from heartlevel.assessment import Rules
from heartlevel.handouts.log_sheet import LogSheet, log_sheet
from heartlevel.handouts.rendering import long_date
from heartlevel.intake.request import Request

MOST_CHANGES, MOST_OTHERS, DAYS_AHEAD, TWICE = 3, 3, 7, 2
# What can be changed the next time, by the code of the next step, and what is drawn of it.
CHANGES = {
    "use-fitting-cuff": "cuff-size", "place-cuff-correctly": "cuff-place", "bring-cuff-to-heart-level": "heart-level",
    "correct-posture": "posture", "prepare-before-measuring": "rest", "leave-a-minute": "pause",
    "record-every-reading": "write", "copy-both-numbers": "write", "check-entry": "write", "use-other-arm": "other-arm",
    "measure-both-arms": "both-arms", "prefer-upper-arm": "cuff-place", "use-validated-device": "device",
    "check-device": "device", "recheck-device": "device", "limit-inflations": "pause", "take-another-reading": "pause",
    "take-every-reading": "pause",
    "measure-on-ordinary-days": "day", "review-technique": "talk",
}  # fmt: skip
# Steps that are told under when to measure.
MEASURE = ("complete-the-protocol", "measure-at-home-again", "confirm-out-of-office", "measure-on-ordinary-days")
NOT_PRESSING = ("none", "history")  # levels of urgency that nothing is to be done about now
CALL_TODAY = "review-pulse"  # a step that asks for a call today, whatever the pressures
LOW = "ask-about-symptoms"  # a step that follows from what is low
# Said first where something is pressing.
URGENT_STEPS = ("call-emergency-services", "repeat-at-once", "see-today", "contact-maternity-unit", "see-within-days")


@dataclass(frozen=True, slots=True)
class DrawnChange:
    """Something to change the next time, and the name of its drawing."""

    text: str
    drawing: str


@dataclass(frozen=True, slots=True)
class PatientSheet:
    """The texts of the page, in the language of the answer."""

    language: str
    words: Mapping[str, str]
    origin: str
    urgent: list[str]
    went: list[str]
    changes: list[DrawnChange]
    others: list[str]
    when: list[str]
    seek_help: list[str]
    sittings: list[str]
    readings: int
    guideline: str  # whose limits hold, as it is called
    protocol: str  # likewise, in English
    rules: str


def patient_sheet(request: Request, answer: Mapping[str, Any], rules: Rules) -> PatientSheet:
    """Return the sheet for the person of a request, from its whole answer."""
    log = log_sheet(rules, request)
    told = _told(answer)
    pressing = answer["urgency"]["level"] not in NOT_PRESSING
    changes, low, made_with = list(_changes(answer)), _said_of_low(answer), answer["made_with"]
    return PatientSheet(
        language=request.language,
        words=log.words,
        origin=_origin(answer, log),
        urgent=[*(_with_its_reading(text, answer, request.language) for text in told[:pressing]), *_called_today(answer)],
        went=[*told[pressing:], *low, _counts(answer, log)],
        changes=changes,
        others=list(_others(answer, {LOW} if low else set()))[:MOST_OTHERS],
        when=list(_when(answer, log, changes)),
        seek_help=log.seek_help,
        sittings=log.sittings,
        readings=log.readings,
        guideline=rules.ruleset.guidelines[made_with["limits_from"]].short_name,
        protocol=log.protocol.title,
        rules=f"{made_with['rules']['name']} {made_with['rules']['revision']}",
    )


def _told(answer: Mapping[str, Any]) -> list[str]:
    """Return the conclusion as it is said to the person, without the step to begin with: it stands among the changes."""
    sentences: list[str] = answer["conclusion"]["patient"]
    statements = answer["conclusion"]["statements"]
    if not statements or statements[-1]["code"] != "first":
        return sentences
    first = statements[-1]["values"]["step"]
    told = any(step["code"] == first and step["patient"] for step in answer["next_steps"])
    return sentences[:-1] if told else sentences


def _with_its_reading(text: str, answer: Mapping[str, Any], language: str) -> str:
    """Return what is pressing, after the reading that makes it so where it is one and both its numbers are known."""
    urgency = answer["urgency"]
    worst = [(episode["worst"], episode["day"]) for episode in urgency["episodes"]
             if episode["level"] == urgency["level"] and episode["kind"] in ("high", "low")]  # fmt: skip
    for reading, day in worst:
        if reading and None not in (reading["systolic"], reading["diastolic"], day):
            return f"{reading['systolic']:g}/{reading['diastolic']:g} mmHg ({long_date(day, language)}): {text}"
    return text


def _said_of_low(answer: Mapping[str, Any]) -> list[str]:
    """Return what the first low average is told with: beside "not high" alone it would seem well."""
    because = {finding for step in answer["next_steps"] if step["code"] == LOW for finding in step["because"]}
    low = (finding for finding in answer["findings"] if finding["id"] in because and finding["scope"] == "series")
    return [finding["patient"] for finding in low][:1]


def _called_today(answer: Mapping[str, Any]) -> Iterator[str]:
    yield from (step["patient"] for step in answer["next_steps"] if step["code"] == CALL_TODAY and step["patient"])


def _counts(answer: Mapping[str, Any], log: LogSheet) -> str:
    used = sum(reading["reliability"] != "unusable" for reading in answer["readings"])
    received, days = answer["counts"]["received"], answer["coverage"]["days"]
    return log.words["patient-counts"].format(received=received, used=used, days=days)


def _origin(answer: Mapping[str, Any], log: LogSheet) -> str:
    """Return of whom and of which days the readings averaged are; of whom alone, where none are."""
    averages = [average for average in answer["averages"] if average["basis"] == "protocol"]
    if not averages:
        return f"{log.words['log-name']}: {answer['subject']['id']}"
    ends = min(average["from"] for average in averages), max(average["to"] for average in averages)
    first, last = (long_date(end, log.language) for end in ends)
    return log.words["patient-made"].format(**{"from": first, "to": last, "subject": answer["subject"]["id"]})


def _changes(answer: Mapping[str, Any]) -> Iterator[DrawnChange]:
    """Yield the first things to change, the most important first."""
    steps = [step for step in answer["next_steps"] if step["code"] in CHANGES and step["patient"]]
    yield from (DrawnChange(step["patient"], CHANGES[step["code"]]) for step in steps[:MOST_CHANGES])


def _others(answer: Mapping[str, Any], told_above: Set[str]) -> Iterator[str]:
    """Yield what else the person is asked for: neither in steps `told_above`, nor a change or a day."""
    pressing = () if answer["urgency"]["level"] in NOT_PRESSING else URGENT_STEPS
    elsewhere = {CALL_TODAY, *CHANGES, *MEASURE, *pressing, *told_above}
    yield from (step["patient"] for step in answer["next_steps"] if step["patient"] and step["code"] not in elsewhere)


def _when(answer: Mapping[str, Any], log: LogSheet, changes: list[DrawnChange]) -> Iterator[str]:
    """Yield when to measure in the days ahead, and what has been left out so far."""
    more, asked = answer["what_next"]["more_days"], any(step["code"] in MEASURE for step in answer["next_steps"])
    if asked or not answer["coverage"]["enough_for_protocol"]:
        yield _plan(log, min(log.days, DAYS_AHEAD))
    elif more:
        yield _plan(log, min(more, DAYS_AHEAD))
    else:
        yield log.words["patient-not-told" if more is None else "patient-enough"]
        if more == 0:
            return
    told = {change.text for change in changes}
    by_code = {step["code"]: step["patient"] for step in answer["next_steps"]}
    for gap in answer["what_next"]["gaps"]:
        if gap["next_step"] is None or by_code.get(gap["next_step"]) not in told:
            yield log.words[f"gap-{gap['code']}"]


def _plan(log: LogSheet, days: int) -> str:
    key = "patient-plan" if len(log.sittings) == TWICE else "patient-plan-other"
    spacing = f"{log.protocol.limits['protocol.home.spacing_minutes']:g}"
    return log.words[key].format(days=days, readings=log.readings, spacing=spacing, sittings=len(log.sittings))
