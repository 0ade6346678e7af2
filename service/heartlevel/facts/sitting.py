"""Facts of one sitting: readings of one person and setting, each soon after the one before it."""

from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats, count_by, extreme_by, median_by, spread_by
from heartlevel.facts.catalogue import DERIVED, derived, derived_both, fact
from heartlevel.intake.batch import Batch
from heartlevel.kernels import sittings
from heartlevel.kernels.arrays import Marks
from heartlevel.vocabulary import MMHG, PRESSURES, SETTINGS

Sittings: TypeAlias = Columns[Batch]

SHORTEST_RUN = 3  # two readings are no trend
_enter, _enter_both = partial(derived, "sitting"), partial(derived_both, "sitting")


@dataclass(frozen=True, slots=True)
class _Followed:
    """What following each sitting's readings in turn shows."""

    count: Floats
    first: Floats  # systolic, diastolic; NaN where there is no such reading
    second: Floats
    last: Floats
    falls: Marks  # 1 where no systolic value is as high as the one before it
    rises: Marks


def columns_of_sittings(batch: Batch) -> Sittings:
    """Return the facts of all sittings, the subject's among them."""
    return Columns(batch, DERIVED["sitting"], batch.subjects, batch.subject_of_sitting)


_enter("sitting_setting", "setting of the sitting's readings", "Where the sitting took place",
       lambda facts: (facts.source.group_of_sitting % len(SETTINGS)).astype(np.float64), names=SETTINGS)  # fmt: skip


def _followed(facts: Sittings) -> _Followed:
    batch = facts.source
    count, (first, second, last) = np.zeros(batch.sittings), np.full((3, len(PRESSURES), batch.sittings), np.nan)
    falls, rises = np.ones((2, batch.sittings), dtype=np.uint8)
    systolic, diastolic = (batch.readings[name] for name in PRESSURES)
    sittings.follow_pressures(batch.sitting_of, systolic, diastolic, count, first, second, last, falls, rises)
    return _Followed(count, first, second, last, falls, rises)


_enter("sitting_readings", "number of readings, whatever their reliability",
       "Readings in the sitting; each is an inflation",
       lambda facts: facts.once(_followed).count, unit="1")  # fmt: skip
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


def _fall(facts: Sittings) -> Floats:
    followed = facts.once(_followed)
    return _known_of_two(facts, followed.first[0] - followed.last[0])


_enter("sitting_systolic_fall", "first systolic − last systolic; unknown for one reading",
       "How far the systolic value fell from first to last", _fall, unit=MMHG)  # fmt: skip


def _steady(facts: Sittings, way: str) -> Floats:
    """Return whether three or more readings each moved on in that way; unknown for fewer."""
    return np.where(facts["sitting_readings"] >= SHORTEST_RUN, getattr(facts.once(_followed), way), np.nan)


for _way, _move, _side in (("fall", "fell", "lower"), ("rise", "rose", "higher")):
    _enter(f"sitting_steady_{_way}", f"each systolic is {_side} than the one before it; unknown for fewer than three",
           f"The systolic values {_move} from each reading to the next", _steady, f"{_way}s", flag=True)  # fmt: skip
_enter_both("sitting_first_two_{}_difference",
            "|first {} − second {}|; unknown for one reading, and where the pressures of one are swapped",
            "Difference of the first two {} values", lambda facts, pressure: _first_two_difference(facts, pressure),
            unit=MMHG)  # fmt: skip


def _first_two_difference(facts: Sittings, pressure: str) -> Floats:
    first, second = facts.once(_followed).first, facts.once(_followed).second
    plausible, row = (first[0] > first[1]) & (second[0] > second[1]), PRESSURES.index(pressure)
    return np.where(plausible, np.abs(first[row] - second[row]), np.nan)


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
