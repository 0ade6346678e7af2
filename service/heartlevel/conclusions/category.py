"""The category of the best average there is, why there is none, and whether other selections would change it."""

from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints, first_case
from heartlevel.facts.sides import ATTENDED, HOME, LIMITS_OF, NO_SIDE, SETTING_NUMBER, UNATTENDED
from heartlevel.profiles import Category
from heartlevel.statistics.alternatives import WITHOUT_DOUBTFUL
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.vocabulary import LIMITS_UNCLEAR, MEASURED_SIDES, SETTINGS

# Why there is no category; None where there may be one.
NO_CATEGORY_REASONS = (None, "too-few-readings", "below-the-age-the-guideline-classifies", LIMITS_UNCLEAR,
                       "no-limit-published-for-the-method", "no-side-fit")  # fmt: skip
CLASSIFIABLE, TOO_FEW, TOO_YOUNG, UNCLEAR, UNPUBLISHED, UNFIT = range(len(NO_CATEGORY_REASONS))
NO_SETTING = len(SETTINGS)
# Why an alternative says nothing. What doubtful readings alone may still say, the one by their published errors tells.
MINIMUM_NOT_MET, NONE_SOUND = "protocol-minimum-not-met", "no-sound-readings"


@dataclass(frozen=True, slots=True)
class SubjectCategories:
    """One value a subject. Where there is no setting, what is said of its average has no meaning."""

    person: Ints  # why the person is not classified, whatever the readings: its number in NO_CATEGORY_REASONS
    reason: Ints  # why there is no category, likewise
    side: Ints  # which one is classified: its number in MEASURED_SIDES, or NO_SIDE
    setting: Ints  # of that side: its number in SETTINGS, or NO_SETTING
    group: Ints  # of its average
    category: Ints  # its number among those of guideline and side, or NO_CATEGORY
    by_side: Ints  # of each side's average, a row a side; NO_CATEGORY where it is not enough, or taken away
    by_group: Ints  # of each group's average, enough for the protocol or not; NO_CATEGORY where something takes it away
    mean: Floats  # mm[Hg], a row a pressure
    raised: Bools  # either pressure reaches the guideline's limit of hypertension
    changes: Bools  # axes: alternative, subject; it says something, and it is another category
    holds: Bools  # no alternative changes it, nothing is to be said against the side, and it is probable

    def within(self, setting: str, subject: int) -> int:
        """Return the category of one setting's average, enough for the protocol or not."""
        there = self.person[subject] == CLASSIFIABLE
        return int(self.by_group[subject * len(SETTINGS) + SETTINGS.index(setting)]) if there else NO_CATEGORY


def categories_of(assessment: Assessment) -> SubjectCategories:
    """Return each subject's category by the first side that names one: ambulatory, home, the office with staff, without."""
    others, sides, fitness = assessment.alternatives, assessment.sides, assessment.fitness
    person, subjects = _person(assessment), np.arange(len(assessment.guidelines))
    by_side = np.where(person == CLASSIFIABLE, _categories_by_side(assessment), NO_CATEGORY)
    side = _first_with_category(by_side, sides.ambulatory)
    there = side != NO_SIDE
    at = np.where(there, side, ATTENDED)
    group = subjects * len(SETTINGS) + SETTING_NUMBER[at]
    category = np.where(there, by_side[at, subjects], NO_CATEGORY)
    says = others.applies[:, group] & others.enough[:, group] & (at <= UNATTENDED)  # of ambulatory days there are no others
    changes = says & (assessment.classified.of_alternatives[:, group] != category)
    return SubjectCategories(
        person=person,
        reason=np.where(there, CLASSIFIABLE, _reason(assessment, person)),
        side=side,
        setting=np.where(there, SETTING_NUMBER[at], NO_SETTING),
        group=group,
        category=category,
        by_side=by_side,
        by_group=_categories_by_group(assessment),
        mean=np.where(there, sides.measured.mean[:, at, subjects], np.nan),
        raised=there & (sides.measured.raised[at, subjects] == 1),
        changes=changes,
        holds=there
        & ~changes.any(axis=0)
        & fitness.fit[at, subjects]
        & ~fitness.doubted[at, subjects]
        & (assessment.sureness.certainty[group] >= assessment.rules.sureness.probable),
    )


def levels_of(assessment: Assessment, subject: int, side: int) -> tuple[Category, ...]:
    """Return the categories that a subject's guideline has for a side, lowest first; none where it publishes no limit."""
    return assessment.guidelines[subject].categories.get(LIMITS_OF[MEASURED_SIDES[side]], ())


def silent_because(alternative: str) -> str:
    """Say why an alternative that applies to a subject says nothing."""
    return NONE_SOUND if alternative == WITHOUT_DOUBTFUL else MINIMUM_NOT_MET


def _categories_by_side(assessment: Assessment) -> Ints:
    """Return the category of each side's average; of an ambulatory one, raised or not is all that is published."""
    raised, speaks = assessment.sides.measured.raised, ~assessment.fitness.excluded
    by_side = np.where(np.isnan(raised), NO_CATEGORY, raised).astype(np.int64)
    row = assessment.classified.category[assessment.averages.row("protocol")].reshape(-1, len(SETTINGS))
    for side in (HOME, ATTENDED, UNATTENDED):
        by_side[side] = np.where(np.isnan(raised[side]), NO_CATEGORY, row[:, SETTING_NUMBER[side]])
    return np.where(speaks, by_side, NO_CATEGORY)


def _categories_by_group(assessment: Assessment) -> Ints:
    """Return the category of each group's average but for those that something else than too few readings takes away."""
    by_group = assessment.classified.category[assessment.averages.row("protocol")].reshape(-1, len(SETTINGS)).copy()
    taken_away = assessment.fitness.excluded & assessment.sides.measured.enough
    for side in (HOME, ATTENDED, UNATTENDED):
        by_group[taken_away[side], SETTING_NUMBER[side]] = NO_CATEGORY
    whole: Ints = by_group.reshape(-1)
    return whole


def _first_with_category(by_side: Ints, ambulatory: Ints) -> Ints:
    side = np.full(by_side.shape[1], NO_SIDE)
    padded = np.concatenate([by_side, np.full((1, by_side.shape[1]), NO_CATEGORY)])
    for candidate in (UNATTENDED, ATTENDED, HOME, ambulatory):  # what comes later goes before
        named = padded[candidate, np.arange(len(side))] != NO_CATEGORY
        side = np.where(named, candidate, side)
    return side


def _reason(assessment: Assessment, person: Ints) -> Ints:
    """Return why nobody has a category, as if none had: something of the person, few readings, no limit, no side fit."""
    measured = assessment.sides.measured
    enough, known = measured.enough.any(axis=0), (~np.isnan(measured.raised)).any(axis=0)
    return first_case([(person != CLASSIFIABLE, person), (~enough, TOO_FEW), (~known, UNPUBLISHED)], UNFIT)


def _person(assessment: Assessment) -> Ints:
    adults = np.array([guideline.adults_from_years for guideline in assessment.guidelines], dtype=np.float64)
    unclear = assessment.facts["series"]["limits_unclear"] == 1
    return np.where(unclear, UNCLEAR, np.where(assessment.batch.subjects["age_years"] < adults, TOO_YOUNG, CLASSIFIABLE))
