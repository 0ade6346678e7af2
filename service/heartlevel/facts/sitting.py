"""Facts of one sitting: readings of one person and setting, each soon after the one before it."""

from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats, Ints, count_by, extreme_by, steps
from heartlevel.facts.catalogue import DERIVED, fact
from heartlevel.intake.batch import Batch
from heartlevel.vocabulary import MMHG, SETTINGS

Sittings: TypeAlias = Columns[Batch]

SHORTEST_RUN = 3  # two readings are no trend


def columns_of_sittings(batch: Batch) -> Sittings:
    """Return the facts of all sittings, the subject's among them."""
    return Columns(batch, {}, DERIVED["sitting"], batch.subjects, batch.subject_of_sitting)


@fact("sitting", "setting of the sitting's readings", names=SETTINGS)
def sitting_setting(facts: Sittings) -> Floats:
    """Where the sitting took place."""
    return (facts.source.group_of_sitting % len(SETTINGS)).astype(np.float64)


@fact("sitting", "number of readings, whatever their reliability", unit="1")
def sitting_readings(facts: Sittings) -> Floats:
    """Readings in the sitting; each is an inflation."""
    return count_by(facts.source.sitting_of, facts.source.sittings)


@fact("sitting", "time of the last reading − time of the first", unit="min")
def sitting_minutes(facts: Sittings) -> Floats:
    """Minutes from the first reading to the last."""
    return _spread(facts.source, facts.source.instant) / 60


def _spread(batch: Batch, values: Floats) -> Floats:
    largest = extreme_by(batch.sitting_of, batch.sittings, values, largest=True)
    return largest - extreme_by(batch.sitting_of, batch.sittings, values, largest=False)


def _of_two_or_more(facts: Sittings, values: Floats) -> Floats:
    return np.where(facts["sitting_readings"] > 1, values, np.nan)


@fact("sitting", "largest − smallest systolic; unknown for one reading", unit=MMHG)
def sitting_systolic_range(facts: Sittings) -> Floats:
    """Spread of the systolic values."""
    return _of_two_or_more(facts, _spread(facts.source, facts.source.readings["systolic"]))


@fact("sitting", "largest − smallest diastolic; unknown for one reading", unit=MMHG)
def sitting_diastolic_range(facts: Sittings) -> Floats:
    """Spread of the diastolic values."""
    return _of_two_or_more(facts, _spread(facts.source, facts.source.readings["diastolic"]))


def _nth(facts: Sittings, name: str, n: int) -> Floats:
    """Return the value of each sitting's nth reading, counted from 0, or from the end with −1 for the last."""
    batch, rank = facts.source, facts.source.rank_in_sitting
    if n < 0:
        rank = rank - facts["sitting_readings"][batch.sitting_of].astype(np.int64)
    rows = rank == n
    values = np.full(batch.sittings, np.nan)
    values[batch.sitting_of[rows]] = batch.readings[name][rows]
    return values


@fact("sitting", "first systolic − last systolic; unknown for one reading", unit=MMHG)
def sitting_systolic_fall(facts: Sittings) -> Floats:
    """How far the systolic value fell from first to last."""
    return _of_two_or_more(facts, _nth(facts, "systolic", 0) - _nth(facts, "systolic", -1))


def _moves(facts: Sittings) -> tuple[Ints, Floats]:
    """Return, for each reading after the first of a sitting, that sitting and systolic less the one before."""
    batch = facts.source
    order = np.argsort(batch.sitting_of, kind="stable")
    sitting, systolic = batch.sitting_of[order], batch.readings["systolic"][order]
    follows = sitting[1:] == sitting[:-1]
    return sitting[1:][follows], steps(systolic)[follows]


def _steady(facts: Sittings, direction: float) -> Floats:
    """Return whether three or more readings each moved on in the direction, 1 or −1; unknown for fewer."""
    sitting, move = facts.once(_moves)
    broken = count_by(sitting, facts.source.sittings, move * direction <= 0) > 0
    return np.where(facts["sitting_readings"] >= SHORTEST_RUN, ~broken, np.nan)


@fact("sitting", "each systolic is lower than the one before it; unknown for fewer than three", flag=True)
def sitting_steady_fall(facts: Sittings) -> Floats:
    """The systolic values fell from each reading to the next."""
    return _steady(facts, -1)


@fact("sitting", "each systolic is higher than the one before it; unknown for fewer than three", flag=True)
def sitting_steady_rise(facts: Sittings) -> Floats:
    """The systolic values rose from each reading to the next."""
    return _steady(facts, 1)


def _first_two(facts: Sittings, name: str) -> Floats:
    return np.abs(_nth(facts, name, 0) - _nth(facts, name, 1))


@fact("sitting", "|first systolic − second systolic|; unknown for one reading", unit=MMHG)
def sitting_first_two_systolic_difference(facts: Sittings) -> Floats:
    """Difference of the first two systolic values."""
    return _first_two(facts, "systolic")


@fact("sitting", "|first diastolic − second diastolic|; unknown for one reading", unit=MMHG)
def sitting_first_two_diastolic_difference(facts: Sittings) -> Floats:
    """Difference of the first two diastolic values."""
    return _first_two(facts, "diastolic")


@fact("sitting", "largest selected_from of the readings", unit="1")
def sitting_selected(facts: Sittings) -> Floats:
    """How many readings one of the sitting's was chosen from."""
    chosen_from = facts.source.readings["selected_from"]
    return extreme_by(facts.source.sitting_of, facts.source.sittings, chosen_from, largest=True)


@fact("sitting", "status_irregular_pulse of any reading", flag=True, asked=False)
def sitting_irregular_pulse(facts: Sittings) -> Floats:
    """The device reported an irregular pulse with one of the readings."""
    status = facts.source.readings["status_irregular_pulse"]
    return extreme_by(facts.source.sitting_of, facts.source.sittings, status, largest=True)


@fact("sitting", "no two readings have different sites or body positions recorded", flag=True)
def sitting_alike(facts: Sittings) -> Floats:
    """The readings differ in neither limb nor posture, as far as is recorded."""
    kinds = (_spread(facts.source, facts.source.readings[name]) for name in ("site", "body_position"))
    return np.logical_and(*(~(spread > 0) for spread in kinds)).astype(np.float64)
