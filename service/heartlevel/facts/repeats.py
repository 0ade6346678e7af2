"""Facts of how far apart the first two readings of home sittings lie, over the whole series."""

import numpy as np

from heartlevel.columns import Floats, median_by
from heartlevel.facts.catalogue import fact
from heartlevel.facts.comparison import first_home_pairs
from heartlevel.facts.series import Subjects
from heartlevel.vocabulary import MMHG


def _apart(facts: Subjects, name: str) -> Floats:
    pair, alike = facts.once(first_home_pairs)
    batch = facts.source.batch
    first, second = batch.readings[name][pair[:, alike]]
    return median_by(batch.subject_of_sitting[alike], len(batch.requests), np.abs(first - second))


@fact("series", "median over home_repeated_sittings of |first systolic − second systolic|", unit=MMHG, asked=False)
def home_repeats_apart_systolic(facts: Subjects) -> Floats:
    """How far apart the first two systolic values of a home sitting are, in the middle one of the sittings."""
    return _apart(facts, "systolic")


@fact("series", "median over home_repeated_sittings of |first diastolic − second diastolic|", unit=MMHG, asked=False)
def home_repeats_apart_diastolic(facts: Subjects) -> Floats:
    """How far apart the first two diastolic values of a home sitting are, in the middle one of the sittings."""
    return _apart(facts, "diastolic")
