"""What was measured of each side, and the facts of a person's two sides held against each other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import TypeAlias

import numpy as np

from heartlevel.columns import TOLERANCE, Bools, Columns, Floats, Ints, among
from heartlevel.facts.ambulatory import days_worn
from heartlevel.facts.catalogue import DERIVED, derived, derived_both
from heartlevel.facts.series import Subjects
from heartlevel.profiles import Guideline
from heartlevel.vocabulary import MEASURED_SIDES, MMHG, PRESSURES, SETTINGS

# Of each side the setting that its readings were taken in, and what its limits and categories are called.
SETTING_OF = dict(zip(MEASURED_SIDES, ("home", "office", "office-unattended", *["ambulatory"] * 3), strict=True))
LIMITS_OF = {name: name for name in MEASURED_SIDES} | {"office-attended": "office"}
HOME, ATTENDED, UNATTENDED, WHOLE_DAY, DAY, NIGHT = range(len(MEASURED_SIDES))
AMBULATORY_SIDES, OFFICE_SIDES = (WHOLE_DAY, DAY, NIGHT), (ATTENDED, UNATTENDED)
NO_SIDE = len(MEASURED_SIDES)
SETTING_NUMBER = np.array([SETTINGS.index(SETTING_OF[name]) for name in MEASURED_SIDES], dtype=np.int64)
# The series facts of each side: readings, days, and what its averages and its being enough are called.
_FIGURES = {
    "home": ("home_readings", "home_days", "home", "home"),
    "office-attended": ("office_readings", "office_days", "office", "office"),
    "office-unattended": ("office_unattended_readings", "office_unattended_days", "office_unattended", "office_unattended"),
    "ambulatory-24h": ("ambulatory_readings", "ambulatory_days", "ambulatory_24h", "ambulatory"),
    "ambulatory-day": ("ambulatory_day_readings", "ambulatory_days", "ambulatory_day", "ambulatory"),
    "ambulatory-night": ("ambulatory_night_readings", "ambulatory_days", "ambulatory_night", "ambulatory"),
}


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured of each side: a row a side, a column a subject."""

    readings: Floats
    days: Floats
    days_averaged: Floats  # days whose readings the average takes; for how many of 24 hours an ambulatory device was worn
    mean: Floats  # mm[Hg]; the first axis is the pressure
    enough: Bools  # for the protocol
    raised: Floats  # either pressure reaches the limit of hypertension: 1 or 0; NaN where that cannot be told


def measured_sides(facts: Subjects, guidelines: Sequence[Guideline]) -> Measured:
    """Return what was measured of each side; `raised` is NaN where readings are too few or no limit is published."""
    figures = _FIGURES.values()
    readings, days = (np.array([facts[row[at]] for row in figures]) for at in (0, 1))
    mean = np.array([[facts[f"{average}_{pressure}"] for _, _, average, _ in figures] for pressure in PRESSURES])
    enough = np.array([facts[f"{name}_enough_for_protocol"] == 1 for *_, name in figures])
    limits = limits_of_sides(guidelines)
    with np.errstate(invalid="ignore"):
        raised = (mean >= limits - TOLERANCE).any(axis=0)
    known = enough & ~np.isnan(mean).any(axis=0) & ~np.isnan(limits).all(axis=0)
    return Measured(readings, days, _days_averaged(facts), mean, enough, np.where(known, raised, np.nan))


def _days_averaged(facts: Subjects) -> Floats:
    series, sides = facts.source, (HOME, *OFFICE_SIDES)
    of_protocol = [series.figure("days", int(SETTING_NUMBER[side]), "protocol") for side in sides]
    return np.array([*of_protocol, *[days_worn(series)] * len(AMBULATORY_SIDES)])


def limits_of_sides(guidelines: Sequence[Guideline]) -> Floats:
    """Return the limits of hypertension (axes: pressure, side, subject); NaN where none is published."""
    distinct = {guideline.id: guideline for guideline in guidelines}
    rows = [[guideline.raised_from(LIMITS_OF[side]) for side in MEASURED_SIDES] for guideline in distinct.values()]
    numbers = {name: number for number, name in enumerate(distinct)}
    own = np.array([numbers[guideline.id] for guideline in guidelines], dtype=np.int64)
    table = np.array(rows, dtype=np.float64).reshape(-1, len(MEASURED_SIDES), len(PRESSURES))
    limits: Floats = table[own].transpose(2, 1, 0)
    return limits


@dataclass(frozen=True)
class Compared:
    """The sides of each subject, and which of them may speak."""

    measured: Measured
    fit: Bools  # a row a side, a column a subject

    def at(self, values: Floats, sides: Ints) -> Floats:
        """Return each subject's value of the side that is its own; NaN where it has none."""
        there = sides != NO_SIDE
        return np.where(there, values[np.where(there, sides, 0), np.arange(len(sides))], np.nan)

    @cached_property
    def ambulatory(self) -> Ints:
        """The part of an ambulatory measurement that decides: the first that is raised, else the first with a limit."""
        raised = self.measured.raised[list(AMBULATORY_SIDES)]
        known = ~np.isnan(raised)
        part = np.where((raised == 1).any(axis=0), np.argmax(raised == 1, axis=0), np.argmax(known, axis=0))
        return np.where(known.any(axis=0), WHOLE_DAY + part, NO_SIDE)

    @cached_property
    def outside(self) -> Ints:
        """The side outside the office: ambulatory before home, one that may speak before one that may not."""
        return self._first([self.ambulatory, np.full_like(self.ambulatory, HOME)])

    @cached_property
    def office(self) -> Ints:
        """The side in the office: attended before unattended, one that may speak before one that may not."""
        return self._first([np.full_like(self.ambulatory, side) for side in OFFICE_SIDES])

    def _first(self, candidates: Sequence[Ints]) -> Ints:
        """Return the first candidate (a row each) that may speak; where none may, the first with an average, or none."""
        sides, subjects = np.array(candidates), np.arange(len(candidates[0]))
        there = sides != NO_SIDE
        rows = np.where(there, sides, 0), subjects
        fit, known = there & self.fit[rows], there & ~np.isnan(self.measured.raised[rows])
        worth = np.where(fit, 2, known)
        best = worth.argmax(axis=0), subjects
        return np.where(worth[best] > 0, sides[best], NO_SIDE)


People: TypeAlias = Columns[Compared]
_enter, _enter_both = partial(derived, "comparison", asked=False), partial(derived_both, "comparison", asked=False)


def columns_of_comparison(compared: Compared, subjects: Mapping[str, Floats]) -> People:
    """Return the facts of each person's sides held against each other, the subject's among them."""
    return Columns(compared, DERIVED["comparison"], subjects, np.arange(compared.fit.shape[1]), subjects)


def _named(sides: Ints) -> Floats:
    return np.where(sides == NO_SIDE, np.nan, sides)


def _raised(facts: People, name: str) -> Floats:
    source = facts.source
    return source.at(source.measured.raised, getattr(source, name))


def _pressure(facts: People, pressure: str, name: str) -> Floats:
    source = facts.source
    return source.at(source.measured.mean[PRESSURES.index(pressure)], getattr(source, name))


for _name, _spoken, _order in (
    ("office", "in the office", "attended, else unattended"),
    ("outside", "outside the office", "ambulatory, else home"),
    ("ambulatory", "of an ambulatory measurement", "24 hours, day or night: the first that is raised, else with a limit"),
):
    _enter(f"{_name}_side", f"{_order}; one that may speak before one that may not", f"Side that is compared, {_spoken}",
           lambda facts, name: _named(getattr(facts.source, name)), _name, names=MEASURED_SIDES)  # fmt: skip
    _enter(f"{_name}_side_raised", f"average of {_name}_side at or above the guideline's limit of hypertension",
           f"The side {_spoken} is raised", _raised, _name, flag=True)  # fmt: skip
    _enter_both(f"{_name}_side_{{}}", f"average of {_name}_side", f"{{}} average of the side {_spoken}", _pressure, _name,
                unit=MMHG)  # fmt: skip


def _both_fit(facts: People) -> Floats:
    source, fit = facts.source, facts.source.fit.astype(np.float64)
    both = (source.at(fit, source.office) == 1) & (source.at(fit, source.outside) == 1)
    return np.where(both, 1.0, 0.0)


def _fit(facts: People, sides: Ints) -> Floats:
    return np.where(facts.source.at(facts.source.fit.astype(np.float64), sides) == 1, 1.0, 0.0)


_enter("sides_fit", "both office_side and outside_side may speak", "Both sides are fit to be compared", _both_fit,
       flag=True)  # fmt: skip
_enter("home_and_ambulatory_fit", "home and ambulatory_side may both speak",
       "Home and ambulatory measurement are fit to be compared",
       lambda facts: facts["home_side_fit"] * _fit(facts, facts.source.ambulatory), flag=True)  # fmt: skip
_enter("home_side_fit", "no reason takes home's average away", "Home is fit to be compared",
       lambda facts: facts.source.fit[HOME].astype(np.float64), flag=True)  # fmt: skip
_enter("home_side_raised", "home average at or above the guideline's limit of hypertension", "Home is raised",
       lambda facts: facts.source.measured.raised[HOME], flag=True)  # fmt: skip
_enter_both("home_side_{}", "home average by protocol", "{} average at home",
            lambda facts, pressure: facts.source.measured.mean[PRESSURES.index(pressure), HOME], unit=MMHG)  # fmt: skip


def _difference(facts: People, pressure: str) -> Floats:
    """Return office minus outside: home, or the day of an ambulatory measurement, never the night."""
    source, row = facts.source, PRESSURES.index(pressure)
    worn = among(source.outside, AMBULATORY_SIDES)
    beside = source.at(source.measured.mean[row], np.where(worn, DAY, source.outside))
    return facts[f"office_side_{pressure}"] - beside


_enter_both("office_minus_outside_{}", "office_side_{} − home_side_{}, or the ambulatory average by day", "{} difference "
            "between the office and the day outside it", _difference, unit=MMHG)  # fmt: skip
