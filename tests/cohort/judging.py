"""The cohort as ordinary requests, and what the service answers to them, as columns."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from cohort.parameters import HABITS
from cohort.simulation import Cohort
from heartlevel.answer.whole import answers
from heartlevel.assessment import assess_requests
from heartlevel.intake.request import Request, read
from heartlevel.statistics.alternatives import (
    BY_BIAS,
    BY_HEIGHT,
    BY_PROTOCOL,
    BY_TECHNIQUE,
    MEAN_OF_DAYS,
    WITHOUT_EXTREME_DAY,
)
from heartlevel.statistics.selection import ALTERNATIVES
from heartlevel.vocabulary import PATTERNS
from support import reading, rules, rules_fired

TOGETHER = 250
FIRST_VISIT, FIRST_DAY = date(2026, 2, 23), date(2026, 3, 2)  # both Mondays
HOURS, OFFICE_DAYS = (7, 20), (0, 2, 4)
PRESSURES = ("systolic", "diastolic")


@dataclass(frozen=True)
class Judged:
    """What the service said; first axis of pressures is systolic, diastolic. NaN where it said nothing."""

    sound: np.ndarray  # mean of the home readings found sound
    low: np.ndarray  # of these days
    high: np.ndarray
    long_low: np.ndarray  # of the long run
    long_high: np.ndarray
    probability: np.ndarray  # of reaching the guideline's home limit of hypertension, no shared error taken off
    given: np.ndarray  # a category was given, and from home readings
    holds: np.ndarray
    label: np.ndarray
    doubtful: np.ndarray  # the service found most home readings doubtful
    category: np.ndarray  # its place among the guideline's home categories, −1 for none from home readings
    of_categories: np.ndarray  # probability of each of these as measured, a row each
    changing: np.ndarray  # whether each alternative, a row each, changes the category
    of_patterns: np.ndarray  # probability of each pattern at the limits of hypertension, a row each
    one_probability: np.ndarray  # of reaching the home limit, shared errors taken off: the one that the answer states
    one_of_categories: np.ndarray  # probability of each category likewise, a row each
    label_sureness: np.ndarray
    more_days: np.ndarray
    chance_after: np.ndarray  # of being sure after so many more days, a row each of AHEAD


def home_limit(guideline: str) -> tuple[float, float]:
    return limit_of(guideline, "home")


def limit_of(guideline: str, setting: str) -> tuple[float, float]:
    limits = rules().ruleset.guidelines[guideline].limits
    return tuple(limits[f"{setting}.hypertension.{name}"] for name in PRESSURES)


def reached(guideline: str, pressures: np.ndarray) -> np.ndarray:
    """Return the place of the highest home category that each subject's pressures reach, by its lower limits."""
    levels = rules().ruleset.guidelines[guideline].categories["home"]
    least = np.array([[one.systolic, one.diastolic] for one in levels])
    reaches = (pressures[:, None] >= least.T[:, :, None]).any(axis=0)
    reaches[0] = True
    return len(levels) - 1 - reaches[::-1].argmax(axis=0)


def alternative_names() -> tuple[str, ...]:
    of_protocols = (BY_PROTOCOL + one for one in rules().ruleset.protocols)
    return (*ALTERNATIVES, WITHOUT_EXTREME_DAY, MEAN_OF_DAYS, *of_protocols, BY_HEIGHT, BY_BIAS, BY_TECHNIQUE)


def payloads(cohort: Cohort, guideline: str, population: dict | None = None) -> Iterator[dict]:
    options = {"guideline": guideline, "time_zone": "Europe/Oslo", "as_of": "2026-04-01", "population": population}
    for subject in range(cohort.taken.shape[0]):
        yield {
            "subject": {"id": f"c-{subject}", "age_years": 50},
            "readings": [*at_office(cohort, subject), *at_home(cohort, subject)],
            "options": options,
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


def requests(cohort: Cohort, guideline: str, population: dict | None = None) -> list[Request]:
    """Read every subject's payload as the service does."""
    return [read(payload, rules().ruleset.choices) for payload in payloads(cohort, guideline, population)]


def population_of(cohort: Cohort) -> dict:
    """Return what a practice that knows its people would name: their long-run means, as `options.population` has them."""
    mean, sd = cohort.home_truth.mean(axis=1).tolist(), cohort.home_truth.std(axis=1, ddof=1).tolist()
    named = {name: {"mean": mean[place], "sd": sd[place]} for place, name in enumerate(PRESSURES)}
    return {**named, "correlation": float(np.corrcoef(cohort.home_truth)[0, 1])}


def judge(cohort: Cohort, guideline: str, population: dict | None = None) -> Judged:
    """Put every subject's request to the service."""
    found = []
    waiting = requests(cohort, guideline, population)
    for first in range(0, len(waiting), TOGETHER):
        some = waiting[first : first + TOGETHER]
        found += [condensed(answer, guideline) for answer in answers(assess_requests(some, rules()))]
    return Judged(*(np.array(column).T for column in zip(*found, strict=True)))


def condensed(answer: dict, guideline: str) -> tuple:
    home, whole = averaged(answer, "protocol"), answer["classification"]
    given = whole["category"] is not None and whole["setting"] == "home"
    at_home = whole if given else {}
    measured = at_home.get("as_measured", {})
    chance, whole_chance = (of.get("probability_at_or_above", {}).get(written(home_limit(guideline)))
                            for of in (measured, at_home))  # fmt: skip
    interval, long_run = ([home[name].get(kind) or (None, None) for name in PRESSURES]
                          for kind in ("interval95", "interval95_long_run"))  # fmt: skip
    ahead, sound = answer["what_next"], averaged(answer, "sound")
    return (
        [number(sound[name].get("mean")) for name in PRESSURES],
        [number(low) for low, _ in interval],
        [number(high) for _, high in interval],
        [number(low) for low, _ in long_run],
        [number(high) for _, high in long_run],
        number(chance),
        given,
        whole.get("holds", False),
        answer["pattern"]["label"],
        "mostly-doubtful-technique" in rules_fired(answer),
        *category(at_home, guideline),
        patterns(answer, guideline),
        number(whole_chance),
        of_each(at_home, guideline),
        answer["pattern"]["sureness"],
        number(ahead["more_days"]),
        [number(chance) for chance in ahead["chance_after"].values()],
    )


def averaged(answer: dict, basis: str) -> dict:
    """Return each pressure's home average of that basis; empty ones where every day was missed or discarded."""
    of_basis = [one for one in answer["averages"] if (one["setting"], one["basis"]) == ("home", basis)]
    return of_basis[0] if of_basis else {name: {} for name in PRESSURES}


def category(at_home: dict, guideline: str) -> tuple[int, list[float], list[bool]]:
    """Return the category's place, each category's probability, and which alternatives change the category."""
    ids = [one.id for one in rules().ruleset.guidelines[guideline].categories["home"]]
    found = at_home.get("category")
    others = {one["name"] for one in at_home.get("alternatives", ()) if one["category"] != found and "reason" not in one}
    changing = [name in others for name in alternative_names()]
    return ids.index(found) if found else -1, of_each(at_home.get("as_measured", {}), guideline), changing


def of_each(found: dict, guideline: str) -> list[float]:
    """Return the probability of each home category."""
    said = found.get("category_probability") or {}
    return [number(said.get(one.id)) for one in rules().ruleset.guidelines[guideline].categories["home"]]


def patterns(answer: dict, guideline: str) -> list[float]:
    limits = {setting: written(limit_of(guideline, setting)) for setting in ("home", "office")}
    at_limits = [one["probability"] for one in answer["pattern"]["chances"] or () if one["limits"] == limits]
    return [at_limits[0][name] if at_limits else np.nan for name in PATTERNS]


def written(limit: tuple[float, float]) -> str:
    return "{:g}/{:g}".format(*limit)


def number(value: float | None) -> float:
    return np.nan if value is None else value
