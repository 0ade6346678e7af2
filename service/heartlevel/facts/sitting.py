"""Facts of one sitting: readings of one person and setting, each soon after the one before it."""

from functools import partial
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats, Ints, count_by, extreme_by, median_by, spread_by, steps
from heartlevel.facts.catalogue import DERIVED, derived, derived_both, fact
from heartlevel.intake.batch import Batch
from heartlevel.vocabulary import MMHG, PRESSURES, SETTINGS

Sittings: TypeAlias = Columns[Batch]

SHORTEST_RUN = 3  # two readings are no trend
_enter, _enter_both = partial(derived, "sitting"), partial(derived_both, "sitting")


def columns_of_sittings(batch: Batch) -> Sittings:
    """Return the facts of all sittings, the subject's among them."""
    return Columns(batch, DERIVED["sitting"], batch.subjects, batch.subject_of_sitting)


_enter("sitting_setting", "setting of the sitting's readings", "Where the sitting took place",
       lambda facts: (facts.source.group_of_sitting % len(SETTINGS)).astype(np.float64), names=SETTINGS)  # fmt: skip
_enter("sitting_readings", "number of readings, whatever their reliability",
       "Readings in the sitting; each is an inflation",
       lambda facts: count_by(facts.source.sitting_of, facts.source.sittings), unit="1")  # fmt: skip
_enter("repeated_sittings", "sittings of the person in this setting that have two readings or more",
       "How many sittings with repeats the person has in this setting; the more, the likelier one is far apart by chance",
       lambda facts: _repeated(facts)[facts.source.group_of_sitting], unit="1", asked=False)  # fmt: skip
_enter("sitting_minutes", "time of the last reading − time of the first", "Minutes from the first reading to the last",
       lambda facts: _spread(facts.source, facts.source.instant) / 60, unit="min")  # fmt: skip


def _repeated(facts: Sittings) -> Floats:
    """Count each person's and setting's sittings with repeats."""
    return count_by(facts.source.group_of_sitting, facts.source.groups, facts["sitting_readings"] > 1)


def _spread(batch: Batch, values: Floats) -> Floats:
    return spread_by(batch.sitting_of, batch.sittings, values)


def _known_of_two(facts: Sittings, values: Floats) -> Floats:
    return np.where(facts["sitting_readings"] > 1, values, np.nan)


_enter_both("sitting_{}_range", "largest − smallest {}; unknown for one reading", "Spread of the {} values",
            lambda facts, pressure: _known_of_two(facts, _spread(facts.source, facts.source.readings[pressure])),
            unit=MMHG)  # fmt: skip


def _nth(facts: Sittings, name: str, n: int) -> Floats:
    """Return the value of each sitting's nth reading, counted from 0, or from the end with −1 for the last."""
    batch, rank = facts.source, facts.source.rank_in_sitting
    if n < 0:
        rank = rank - facts["sitting_readings"][batch.sitting_of].astype(np.int64)
    rows = rank == n
    values = np.full(batch.sittings, np.nan)
    values[batch.sitting_of[rows]] = batch.readings[name][rows]
    return values


_enter("sitting_systolic_fall", "first systolic − last systolic; unknown for one reading",
       "How far the systolic value fell from first to last",
       lambda facts: _known_of_two(facts, _nth(facts, "systolic", 0) - _nth(facts, "systolic", -1)), unit=MMHG)  # fmt: skip


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


for _way, _move, _side, _direction in (("fall", "fell", "lower", -1), ("rise", "rose", "higher", 1)):
    _enter(f"sitting_steady_{_way}", f"each systolic is {_side} than the one before it; unknown for fewer than three",
           f"The systolic values {_move} from each reading to the next",
           _steady, _direction, flag=True)  # fmt: skip
_enter_both("sitting_first_two_{}_difference",
            "|first {} − second {}|; unknown for one reading, and where the pressures of one are swapped",
            "Difference of the first two {} values", lambda facts, pressure: _first_two_difference(facts, pressure),
            unit=MMHG)  # fmt: skip


def _first_two_difference(facts: Sittings, pressure: str) -> Floats:
    return np.abs(_of_two(facts, pressure, 0) - _of_two(facts, pressure, 1))


def _of_two(facts: Sittings, pressure: str, n: int) -> Floats:
    systolic, diastolic = (_nth(facts, name, n) for name in PRESSURES)
    return np.where(systolic > diastolic, _nth(facts, pressure, n), np.nan)


def _largest(facts: Sittings, name: str) -> Floats:
    return extreme_by(facts.source.sitting_of, facts.source.sittings, facts.source.readings[name], largest=True)


_enter("sitting_selected", "largest selected_from of the readings",
       "How many readings one of the sitting's was chosen from", _largest, "selected_from", unit="1")  # fmt: skip
_enter("sitting_irregular_pulse", "status_irregular_pulse of any reading",
       "The device reported an irregular pulse with one of the readings",
       _largest, "status_irregular_pulse", flag=True, asked=False)  # fmt: skip


def _middle_in_maternity(facts: Sittings, name: str) -> Floats:
    """Return the middle value of each sitting; unknown for all where nobody of the batch is pregnant or gave birth."""
    batch = facts.source
    if not (facts["pregnant"] == 1).any() and np.isnan(facts["days_since_birth"]).all():
        return np.full(batch.sittings, np.nan)
    middle = median_by(batch.sitting_of, batch.sittings, batch.readings[name])
    concerned = (facts["pregnant"] == 1) | ~np.isnan(facts["days_since_birth"])
    return np.where(concerned, middle, np.nan)


_enter_both("maternity_sitting_{}", "median {} of the sitting, where pregnant is true or days_since_birth recorded",
            "Middle {} value of the sitting of a person who is pregnant or gave birth", _middle_in_maternity,
            unit=MMHG, asked=False)  # fmt: skip


@fact("sitting", "no two readings have different sites or body positions recorded", flag=True)
def sitting_alike(facts: Sittings) -> Floats:
    """The readings differ in neither limb nor posture, as far as is recorded."""
    kinds = (_spread(facts.source, facts.source.readings[name]) for name in ("site", "body_position"))
    return np.logical_and(*(~(spread > 0) for spread in kinds)).astype(np.float64)
