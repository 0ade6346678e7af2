"""What categories rest on: how many of the readings averaged nobody documented, or are doubtful."""

from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Ints, count_by
from heartlevel.conclusions.category import NO_SETTING, SubjectCategories
from heartlevel.vocabulary import RELIABILITIES


@dataclass(frozen=True, slots=True)
class Grounds:
    """The readings that a subject's category is averaged from; 0 where there is none."""

    readings: Ints
    not_documented: Ints
    doubtful: Ints


def grounds_of(assessment: Assessment, category: SubjectCategories) -> Grounds:
    """Return how many readings of what kind stand behind each subject's category."""
    batch = assessment.batch
    averaged = assessment.selection.averages["protocol"] & (batch.setting == category.setting[batch.subject_of])

    def counted(chosen: Bools) -> Ints:
        counts = count_by(batch.subject_of, len(batch.requests), chosen).astype(np.int64)
        return np.where(category.setting == NO_SETTING, 0, counts)

    kinds = (averaged & (assessment.reliability == RELIABILITIES.index(name)) for name in ("not-documented", "doubtful"))
    return Grounds(counted(averaged), *map(counted, kinds))
