"""Honest weeks as an ordinary practice gets them: bare numbers and times, measured and copied faithfully.

A third were measured at home only, a third at home and at the office, and a third have one human slip. Pressures and
spreads are the figures of `parameters`, with their sources; the draws are this module's own.
"""

import os
from collections.abc import Callable, Iterator
from datetime import date, timedelta

import numpy as np

from cohort.parameters import FIGURES
from support import reading

WEEKS = int(os.environ.get("HONEST_WEEKS", "150"))  # 600 are those of the target
DAYS, HOURS, READINGS = 7, (7, 20), 2
VISITS, OFFICE_READINGS = 2, 3
FIRST_DAY, FIRST_VISIT = date(2026, 3, 2), date(2026, 3, 3)  # a Monday; visits in the same week
KINDS = ("home only", "home and office", "one slip")
Draw = np.random.Generator


def size(name: str) -> np.ndarray:
    figure = FIGURES[name]
    return np.array([figure.systolic, figure.diastolic])


def noise(draw: Draw, name: str, *shape: int) -> np.ndarray:
    """Draw systolic and diastolic parts that go together, with the spread of that name."""
    together = FIGURES["systolic with diastolic"].systolic
    first, second = draw.standard_normal((2, *shape))
    return np.stack([first, together * first + np.sqrt(1 - together**2) * second], axis=-1) * size(name)


def usual_pressure(draw: Draw) -> np.ndarray:
    """Draw a person's usual pressure at home; one in whom the two would be nearer than 30 mmHg is drawn anew."""
    while True:
        usual = size("home mean") + noise(draw, "home SD between people")
        if usual[0] - usual[1] >= 30:
            return usual


def honest_week(draw: Draw, usual: np.ndarray, days: int = DAYS) -> list[dict]:
    """Return one person's week of readings at home."""
    parts = (noise(draw, "SD between days", days, 1, 1), noise(draw, "SD between sittings of a day", days, len(HOURS), 1),
             noise(draw, "SD within a sitting", days, len(HOURS), READINGS))  # fmt: skip
    spread = FIGURES["spread of SDs between people"].systolic
    own = np.exp(spread * draw.standard_normal() - spread**2 / 2)
    pressures = usual + own * sum(parts)
    morning = size("morning above evening") + noise(draw, "SD of morning above evening")
    pressures += np.array([0.5, -0.5])[:, None, None] * morning
    pressures[:, :, 0] += size("first home reading above next")
    pressures[0] += size("first day above later")
    return [at_home(day, sitting, place, pressures) for day, sitting, place in np.ndindex(pressures.shape[:3])]


def at_home(day: int, sitting: int, place: int, pressures: np.ndarray) -> dict:
    moment = f"{FIRST_DAY + timedelta(days=day)}T{HOURS[sitting]:02d}:{10 + place}:00+01:00"
    return reading(moment, *np.rint(pressures[day, sitting, place]).tolist(), id=f"{day}-{sitting}-{place}")


def office_visits(draw: Draw, usual: np.ndarray) -> list[dict]:
    there = usual + size("office above home") + noise(draw, "SD of office above home")
    pressures = there + noise(draw, "SD between office visits", VISITS, 1)
    pressures = pressures + noise(draw, "SD within a sitting", VISITS, OFFICE_READINGS)
    pressures[:, 0] += size("first office reading above next")
    return [at_office(visit, place, pressures) for visit, place in np.ndindex(pressures.shape[:2])]


def at_office(visit: int, place: int, pressures: np.ndarray) -> dict:
    moment = f"{FIRST_VISIT + timedelta(days=2 * visit)}T10:{2 * place:02d}:00+01:00"
    return reading(moment, *np.rint(pressures[visit, place]).tolist(), setting="office", taken_by="staff")


def without(week: list[dict], gone: Callable[[dict], bool]) -> list[dict]:
    return [one for one in week if not gone(one)]


def evening_missed(week: list[dict], day: int) -> list[dict]:
    return without(week, lambda one: one["id"].startswith(f"{day}-1"))


def day_missed(week: list[dict], day: int) -> list[dict]:
    return without(week, lambda one: one["id"].startswith(f"{day}-"))


def second_forgotten(week: list[dict], day: int) -> list[dict]:
    return without(week, lambda one: one["id"] == f"{day}-0-1")


def third_taken(week: list[dict], day: int) -> list[dict]:
    last = next(one for one in week if one["id"] == f"{day}-1-1")
    again = {"id": "third", "taken_at": last["taken_at"].replace(":11:", ":12:"), "systolic": last["systolic"] - 2}
    return [*week, {**last, **again}]


def talked_once(week: list[dict], day: int) -> list[dict]:
    return [{**one, "technique": {"talking": True}} if one["id"] == f"{day}-0-0" else one for one in week]


def written_twice(week: list[dict], day: int) -> list[dict]:
    return [*week, next({key: one[key] for key in one if key != "id"} for one in week if one["id"] == f"{day}-0-0")]


def swapped_once(week: list[dict], day: int) -> list[dict]:
    return [{**one, "systolic": one["diastolic"], "diastolic": one["systolic"]} if one["id"] == f"{day}-1-0" else one
            for one in week]  # fmt: skip


SLIPS = (evening_missed, day_missed, second_forgotten, third_taken, talked_once, written_twice, swapped_once)


def honest_people(number: int, seed: int = 20260302) -> Iterator[tuple[str, dict]]:
    """Yield each person's kind of week and request; the same number and seed give the same people."""
    draw = np.random.default_rng(seed)
    for person in range(number):
        kind, usual = KINDS[person % len(KINDS)], usual_pressure(draw)
        week = honest_week(draw, usual)
        if kind == "home and office":
            week += office_visits(draw, usual)
        elif kind == "one slip":
            week = SLIPS[person // len(KINDS) % len(SLIPS)](week, int(draw.integers(DAYS)))
        yield (
            kind,
            {
                "subject": {"id": f"h-{person}", "age_years": 50},
                "readings": week,
                "options": {"time_zone": "Europe/Oslo", "as_of": "2026-03-10"},
            },
        )
