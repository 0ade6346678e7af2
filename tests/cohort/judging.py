"""The cohort as ordinary requests, and what the service answers to them, as columns."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from cohort.parameters import HABITS
from cohort.simulation import Cohort
from heartlevel.answer.whole import answers
from heartlevel.assessment import assess
from heartlevel.intake.request import Request, read
from support import average, reading, rules, rules_fired

TOGETHER = 250
FIRST_VISIT, FIRST_DAY = date(2026, 2, 23), date(2026, 3, 2)  # both Mondays
HOURS, OFFICE_DAYS = (7, 20), (0, 2)
PRESSURES = ("systolic", "diastolic")


@dataclass(frozen=True)
class Judged:
    """What the service said; first axis of pressures is systolic, diastolic. NaN where it said nothing."""

    sound: np.ndarray  # mean of the home readings found sound
    low: np.ndarray
    high: np.ndarray
    probability: np.ndarray  # of reaching the guideline's home limit of hypertension
    given: np.ndarray  # a category was given, and from home readings
    holds: np.ndarray
    label: np.ndarray
    doubtful: np.ndarray  # the service found most home readings doubtful


def home_limit(guideline: str) -> tuple[float, float]:
    return limit_of(guideline, "home")


def limit_of(guideline: str, setting: str) -> tuple[float, float]:
    limits = rules().ruleset.guidelines[guideline].limits
    return tuple(limits[f"{setting}.hypertension.{name}"] for name in PRESSURES)


def payloads(cohort: Cohort, guideline: str) -> Iterator[dict]:
    for subject in range(cohort.taken.shape[0]):
        yield {
            "subject": {"id": f"c-{subject}", "age_years": 50},
            "readings": [*at_office(cohort, subject), *at_home(cohort, subject)],
            "options": {"guideline": guideline, "time_zone": "Europe/Oslo", "as_of": "2026-04-01"},
        }


def at_office(cohort: Cohort, subject: int) -> Iterator[dict]:
    for visit, place in np.ndindex(cohort.office.shape[2:]):
        systolic, diastolic = cohort.office[:, subject, visit, place].tolist()
        day = FIRST_VISIT + timedelta(days=OFFICE_DAYS[visit])
        yield reading(f"{day}T10:{place * 2:02d}:00+01:00", systolic, diastolic, setting="office", taken_by="staff")


def at_home(cohort: Cohort, subject: int) -> Iterator[dict]:
    for day, sitting, place in np.argwhere(cohort.taken[subject]).tolist():
        systolic, diastolic = cohort.home[:, subject, day, sitting, place].tolist()
        moment = f"{FIRST_DAY + timedelta(days=day)}T{HOURS[sitting]:02d}:{place * 2:02d}:00+01:00"
        yield reading(moment, systolic, diastolic, technique=technique(cohort, subject, day, sitting))


def technique(cohort: Cohort, subject: int, day: int, sitting: int) -> dict:
    """Return the details the person records; what is not recorded is absent."""
    said = cohort.said_wrong[:, subject, day, sitting].tolist()
    recorded = cohort.recorded[:, subject].tolist()
    return {
        habit.field: habit.wrong if wrong else habit.right
        for habit, wrong, known in zip(HABITS, said, recorded, strict=True)
        if known
    }


def requests(cohort: Cohort, guideline: str) -> list[Request]:
    """Read every subject's payload as the service does."""
    return [read(payload, rules().ruleset.choices) for payload in payloads(cohort, guideline)]


def judge(cohort: Cohort, guideline: str) -> Judged:
    """Put every subject's request to the service."""
    found = []
    waiting = requests(cohort, guideline)
    for first in range(0, len(waiting), TOGETHER):
        some = waiting[first : first + TOGETHER]
        found += [condensed(answer, home_limit(guideline)) for answer in answers(assess(some, rules()))]
    return Judged(*(np.array(column).T for column in zip(*found, strict=True)))


def condensed(answer: dict, limit: tuple[float, float]) -> tuple:
    home, whole = average(answer), answer["classification"]
    given = whole["category"] is not None and whole["setting"] == "home"
    chance = whole.get("probability_at_or_above", {}).get("{:g}/{:g}".format(*limit)) if given else None
    interval = [home[name]["interval95"] or (None, None) for name in PRESSURES]
    sound = [one for one in answer["averages"] if (one["setting"], one["basis"]) == ("home", "sound")]
    return (
        [sound[0][name]["mean"] if sound else np.nan for name in PRESSURES],
        [number(low) for low, _ in interval],
        [number(high) for _, high in interval],
        number(chance),
        given,
        whole.get("holds", False),
        answer["pattern"]["label"],
        "mostly-doubtful-technique" in rules_fired(answer),
    )


def number(value: float | None) -> float:
    return np.nan if value is None else value
