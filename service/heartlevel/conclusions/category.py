"""The category of the best average there is, why there is none, and whether other selections would change it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import TOLERANCE, Bools, Floats, Ints
from heartlevel.profiles import Guideline
from heartlevel.statistics.alternatives import WITHOUT_DOUBTFUL
from heartlevel.statistics.classification import CLASSIFIED, NO_CATEGORY
from heartlevel.statistics.comparisons import PRESSURES
from heartlevel.vocabulary import LIMITS_UNCLEAR, SETTINGS

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
    by_setting: Mapping[str, Ints]  # of the averages of home and of the office, enough for the protocol or not
    mean: Floats  # mm[Hg], a row a pressure
    raised: Bools  # either pressure reaches the guideline's limit of hypertension
    changes: Bools  # axes: alternative, subject; it says something, and it is another category
    holds: Bools  # no alternative changes it


def categories_of(assessment: Assessment) -> SubjectCategories:
    """Return each subject's category by the average by protocol, of home readings where they are enough."""
    averages, classified, others = assessment.averages, assessment.classified, assessment.alternatives
    person, enough = _person(assessment), _enough(assessment)
    there = enough.any(axis=0) & (person == CLASSIFIABLE)
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
        by_setting={name: np.where(person == CLASSIFIABLE, _column(classified.category[row], name), NO_CATEGORY)
                    for name in CLASSIFIED},
        mean=mean,
        raised=np.any(mean >= _limits(assessment.guidelines, best) - TOLERANCE, axis=0),
        changes=changes,
        holds=there & ~changes.any(axis=0),
    )  # fmt: skip


def silent_because(alternative: str) -> str:
    """Say why an alternative that applies to a subject says nothing."""
    return NONE_SOUND if alternative == WITHOUT_DOUBTFUL else MINIMUM_NOT_MET


def _person(assessment: Assessment) -> Ints:
    adults = np.array([guideline.adults_from_years for guideline in assessment.guidelines], dtype=np.float64)
    unclear = assessment.facts["series"]["limits_unclear"] == 1
    return np.where(unclear, UNCLEAR, np.where(assessment.batch.subjects["age_years"] < adults, TOO_YOUNG, CLASSIFIABLE))


def _enough(assessment: Assessment) -> Bools:
    facts = assessment.facts["series"]
    return np.stack([facts[f"{name}_enough_for_protocol"] == 1 for name in CLASSIFIED])


def _column(by_group: Ints, setting: str) -> Ints:
    return by_group[SETTINGS.index(setting) :: len(SETTINGS)]


def _limits(guidelines: Sequence[Guideline], settings: Ints) -> Floats:
    """Return the limits of hypertension in each subject's setting, a row a pressure."""
    names = [SETTINGS[setting] for setting in settings.tolist()]
    return np.array([
        [guideline.limits[f"{name}.hypertension.{pressure}"] for guideline, name in zip(guidelines, names, strict=True)]
        for pressure in PRESSURES
    ], dtype=np.float64)  # fmt: skip
