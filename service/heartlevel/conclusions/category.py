"""The category of the best average there is, why there is none, and whether other selections would change it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE, Bools, Floats, Ints
from heartlevel.profiles import Guideline
from heartlevel.statistics.alternatives import WITHOUT_DOUBTFUL
from heartlevel.statistics.classification import CLASSIFIED, NO_CATEGORY
from heartlevel.vocabulary import LIMITS_UNCLEAR, PRESSURES, SETTINGS

# Why there is no category; None where there may be one.
NO_CATEGORY_REASONS = (None, "too-few-readings", "below-the-age-the-guideline-classifies", LIMITS_UNCLEAR)
CLASSIFIABLE, TOO_FEW, TOO_YOUNG, UNCLEAR = range(len(NO_CATEGORY_REASONS))
NO_SETTING = len(SETTINGS)
# Why an alternative says nothing. What doubtful readings alone may still say, the one by their published errors tells.
MINIMUM_NOT_MET, NONE_SOUND = "protocol-minimum-not-met", "no-sound-readings"


@dataclass(frozen=True, slots=True)
class SubjectCategories:
    """One value a subject. Where there is no setting, what is said of its average has no meaning."""

    person: Ints  # why the person is not classified, whatever the readings: its number in NO_CATEGORY_REASONS
    reason: Ints  # why there is no category, likewise
    setting: Ints  # whose average is classified: its number in SETTINGS, or NO_SETTING
    group: Ints  # of that average
    category: Ints  # its number among those of guideline and setting, or NO_CATEGORY
    by_group: Ints  # of each group's average, enough for the protocol or not
    mean: Floats  # mm[Hg], a row a pressure
    raised: Bools  # either pressure reaches the guideline's limit of hypertension
    changes: Bools  # axes: alternative, subject; it says something, and it is another category
    holds: Bools  # no alternative changes it, and it is probable

    def within(self, setting: str, subject: int) -> int:
        """Return the category of one setting's average, enough for the protocol or not."""
        there = self.person[subject] == CLASSIFIABLE
        return int(self.by_group[subject * len(SETTINGS) + SETTINGS.index(setting)]) if there else NO_CATEGORY


def categories_of(assessment: Assessment) -> SubjectCategories:
    """Return each subject's category by the average by protocol, of home readings where they are enough."""
    averages, classified, others = assessment.averages, assessment.classified, assessment.alternatives
    person, facts = _person(assessment), assessment.facts["series"]
    enough = [facts[f"{name}_enough_for_protocol"] == 1 for name in CLASSIFIED]
    there = (enough[0] | enough[1]) & (person == CLASSIFIABLE)
    best = np.where(enough[0], SETTINGS.index(CLASSIFIED[0]), SETTINGS.index(CLASSIFIED[1]))
    group, row = np.arange(len(person)) * len(SETTINGS) + best, averages.row("protocol")
    category = np.where(there, classified.category[row, group], NO_CATEGORY)
    mean = np.where(there, averages.mean[: len(PRESSURES), row, group], np.nan)
    says = others.applies[:, group] & others.enough[:, group]
    changes = says & (classified.of_alternatives[:, group] != category)
    return SubjectCategories(
        person=person,
        reason=np.where((person == CLASSIFIABLE) & ~there, TOO_FEW, person),
        setting=np.where(there, best, NO_SETTING),
        group=group,
        category=category,
        by_group=classified.category[row],
        mean=mean,
        raised=np.any(mean >= _limits(assessment.guidelines, best) - TOLERANCE, axis=0),
        changes=changes,
        holds=there & ~changes.any(axis=0) & (assessment.sureness.certainty[group] >= assessment.rules.sureness.probable),
    )


def silent_because(alternative: str) -> str:
    """Say why an alternative that applies to a subject says nothing."""
    return NONE_SOUND if alternative == WITHOUT_DOUBTFUL else MINIMUM_NOT_MET


def _person(assessment: Assessment) -> Ints:
    adults = np.array([guideline.adults_from_years for guideline in assessment.guidelines], dtype=np.float64)
    unclear = assessment.facts["series"]["limits_unclear"] == 1
    return np.where(unclear, UNCLEAR, np.where(assessment.batch.subjects["age_years"] < adults, TOO_YOUNG, CLASSIFIABLE))


def _limits(guidelines: Sequence[Guideline], settings: Ints) -> Floats:
    """Return the limits of hypertension in each subject's setting, a row a pressure."""
    names = [SETTINGS[setting] for setting in settings.tolist()]
    limits = [
        guideline.limits[f"{name}.hypertension.{pressure}"]
        for pressure in PRESSURES
        for guideline, name in zip(guidelines, names, strict=True)
    ]
    return np.array(limits, dtype=np.float64).reshape(len(PRESSURES), len(names))
