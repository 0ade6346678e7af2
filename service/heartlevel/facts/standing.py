"""Facts of a reading taken standing, compared with the last seated or lying one before it in the sitting.

And of all such comparisons of the person from the same position before, each sitting being one look.
"""

import numpy as np

from heartlevel.columns import Floats, Ints, count_by, mean_by
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


def _looks(facts: Readings) -> tuple[Ints, Ints, Ints]:
    """Return the standing readings compared, the look (person, position before, sitting) of each, and each look's group."""
    batch = facts.source
    rows = np.flatnonzero(facts.once(_before) != NONE)
    group = batch.subject_of[rows] * len(BODY_POSITIONS) + facts["position_before_standing"][rows].astype(np.int64)
    keys, look = np.unique(group * (batch.sittings + 1) + batch.sitting_of[rows], return_inverse=True)
    return rows, look, keys // (batch.sittings + 1)


def _of_person(facts: Readings, values: Floats | None) -> Floats:
    """Return, of the person's looks from the same position, the mean of the values, or without values their number."""
    known = np.full(facts.source.size, np.nan)
    if not (facts.once(_before) != NONE).any():  # most requests have none
        return known
    rows, look, group = facts.once(_looks)
    size = int(group.max()) + 1
    of_group = count_by(group, size) if values is None else mean_by(group, size, mean_by(look, len(group), values[rows]))
    known[rows] = of_group[group[look]]
    return known


derived("reading", "standing_looks", "sittings of the person with a comparison from the same position before",
        "How often standing up from that position was looked at", lambda facts: _of_person(facts, None), unit="1",
        asked=False)  # fmt: skip
derived_both("reading", "mean_{}_fall_on_standing", "mean over standing_looks of the mean {}_fall_on_standing in each",
             "How far the {} value fell on standing up, on average over the looks",
             lambda facts, pressure: _of_person(facts, facts[f"{pressure}_fall_on_standing"]), unit=MMHG,
             asked=False)  # fmt: skip
