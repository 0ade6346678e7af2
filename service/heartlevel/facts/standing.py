"""Facts of a reading taken standing, compared with the last seated or lying one before it in the sitting."""

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.facts.catalogue import derived, derived_both, fact
from heartlevel.facts.reading import Readings
from heartlevel.vocabulary import BODY_POSITIONS, MMHG

STANDING = BODY_POSITIONS.index("standing")
NONE = -1


def _before(facts: Readings) -> Ints:
    """Return, for each standing reading, the row of the last seated or lying one of its sitting; −1 for none.

    Readings of another limb, and readings with swapped pressures, are not compared.
    """
    batch = facts.source
    if not (facts["body_position"] == STANDING).any():  # most requests have none
        return np.full(batch.size, NONE, dtype=np.int64)
    order = np.argsort(batch.sitting_of, kind="stable")
    position, sitting = facts["body_position"][order], batch.sitting_of[order]
    down = ~np.isnan(position) & (position != STANDING)
    last = np.maximum.accumulate(np.where(down, np.arange(batch.size), NONE))
    before = np.full(batch.size, NONE, dtype=np.int64)
    before[order] = np.where((position == STANDING) & (last >= 0) & (sitting[last] == sitting), order[last], NONE)
    site, plausible = facts["site"], facts["systolic"] > facts["diastolic"]
    same_limb = (site == site[before]) | np.isnan(site) | np.isnan(site[before])
    return np.where(same_limb & plausible & plausible[before], before, NONE)


def _since(facts: Readings, values: Floats) -> Floats:
    """Return how far a value fell from the reading before to the standing one; unknown where there is none before."""
    before = facts.once(_before)
    return np.where(before >= 0, values[before] - values, np.nan)


@fact("reading", "body_position of the last seated or lying reading of the sitting before a standing one, the site the "
      "same or not recorded", names=BODY_POSITIONS, asked=False)  # fmt: skip
def position_before_standing(facts: Readings) -> Floats:
    """Position from which the person stood up; unknown for readings that are not standing."""
    before = facts.once(_before)
    return np.where(before >= 0, facts["body_position"][before], np.nan)


derived("reading", "minutes_since_before_standing",
        "time of the standing reading − time of the one before (see position_before_standing)",
        "Minutes from the last reading before standing up to this one",
        lambda facts: -_since(facts, facts.source.instant) / 60, unit="min", asked=False)  # fmt: skip
derived_both("reading", "{}_fall_on_standing", "{} of the one before (see position_before_standing) − {}",
             "How far the {} value fell on standing up; negative where it rose",
             lambda facts, pressure: _since(facts, facts[pressure]), unit=MMHG, asked=False)  # fmt: skip
