"""How sure averages are as estimates of the long run, by what the rule set says is usual."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain

import numpy as np

from heartlevel.columns import Floats, Ints
from heartlevel.facts.sides import HOME as AT_HOME
from heartlevel.facts.sides import LIMITS_OF, NO_SIDE, OFFICE_SIDES, SETTING_NUMBER, Compared
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Category, Guideline, UsualErrors, UsualSpread
from heartlevel.ruling.effects.shared_errors import SharedErrors
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.calendar import calendar_of
from heartlevel.statistics.classification import NO_CATEGORY, Classified, Probabilities, probabilities
from heartlevel.statistics.long_run import LongRun, first_day_excess, long_run, population_at_home
from heartlevel.statistics.selection import AMBULATORY, HOME, KEPT, OFFICE, Selection
from heartlevel.statistics.sureness.certainty import certainty
from heartlevel.vocabulary import MEASURED_SIDES, SETTINGS

UNATTENDED = SETTINGS.index("office-unattended")


@dataclass(frozen=True, slots=True)
class ClassifiedAverages:
    """What was averaged and classified."""

    batch: Batch
    ruleset: RuleSet
    selection: Selection
    averages: Averages
    classified: Classified
    guidelines: Sequence[Guideline]
    sides: Compared

    def categories(self) -> Ints:
        """Return each group's category; of an ambulatory measurement, raised or not."""
        category: Ints = self.classified.category[self.averages.row("protocol")].copy()
        raised = self.sides.at(self.sides.measured.raised, self.sides.ambulatory)
        category[AMBULATORY :: len(SETTINGS)] = np.where(np.isnan(raised), NO_CATEGORY, raised)
        return category

    def levels(self, groups: Ints, ambulatory: Sequence[str | None]) -> list[Sequence[Category]]:
        """Return the categories that each of these groups is classified by; none where the guideline has none."""
        levels: list[Sequence[Category]] = []
        for group in groups.tolist():
            subject, setting = divmod(group, len(SETTINGS))
            name = ambulatory[subject] if setting == AMBULATORY else SETTINGS[setting]
            levels.append(self.guidelines[subject].categories.get(LIMITS_OF.get(name or "", name or ""), ()))
        return levels

    def sided(self) -> Iterator[tuple[Ints, Ints, list[Sequence[Category]]]]:
        """Yield, side by side, the groups that are raised, 1, or not, 0, and the categories below and above that limit."""
        compared, subjects = self.sides, np.arange(len(self.guidelines))
        levels_at = dict[tuple[str, int], tuple[Category, Category]]()
        for side in (*(np.full_like(subjects, side) for side in (*OFFICE_SIDES, AT_HOME)), compared.ambulatory):
            raised = compared.at(compared.measured.raised, side)
            known = np.flatnonzero(~np.isnan(raised))
            levels: list[Sequence[Category]] = []
            for subject, part in zip(known.tolist(), side[known].tolist(), strict=True):
                guideline = self.guidelines[subject]
                if (guideline.id, part) not in levels_at:
                    levels_at[guideline.id, part] = _about_the_limit(guideline, part)
                levels.append(levels_at[guideline.id, part])
            yield known * len(SETTINGS) + SETTING_NUMBER[side[known]], raised[known].astype(np.int64), levels


@dataclass(frozen=True)
class Sureness:
    """How sure each group's average is as an estimate of the long run, and how probable its categories are.

    An ambulatory group's average is that of the part of the day that decides.
    """

    measured: LongRun  # days, weeks and the first day's excess taken into account
    sized: LongRun  # the same; nothing is known where an error of no published size is in too many readings
    long_run: LongRun  # that, with errors that all readings share besides
    certainty: Floats  # of the category of the average by protocol
    first_day: Floats  # by how much the first day makes each average too high, a row a pressure
    errors: SharedErrors
    material: ClassifiedAverages

    @cached_property
    def probabilities(self) -> Probabilities:
        """The probabilities of limits and categories in the long run."""
        return probabilities(self.long_run, self.material.guidelines, deciding_parts(self.material.sides))

    @cached_property
    def raised_or_not(self) -> Floats:
        """How certain it is that each average lies on its side of the limit of hypertension; NaN where it is not known.

        As with categories, an error is never credited for pointing away from the limit.
        """
        groups, raised, levels = zip(*self.material.sided(), strict=True)
        group, every = np.concatenate(groups), [*chain.from_iterable(levels)]
        certain = np.full(self.material.batch.groups, np.nan)
        errors = self.errors.too_high, self.errors.too_low
        certain[group] = certainty(self.sized, *errors, group, np.concatenate(raised), every)
        return certain


def deciding_parts(sides: Compared) -> list[str | None]:
    """Return the part of each subject's ambulatory measurement that decides; None where there is none."""
    names = (*MEASURED_SIDES, None)
    return [names[side] for side in sides.ambulatory.tolist()]


def usual_errors(ruleset: RuleSet) -> dict[int, UsualErrors]:
    """Return by setting what readings are usually too high by."""
    usual = {HOME: ruleset.at_home, OFFICE: ruleset.in_office}
    return {setting: block.errors for setting, block in usual.items() if block}


def usual_spreads(ruleset: RuleSet) -> dict[int, UsualSpread]:
    """Return by setting how much days, visits or sessions of one person usually differ."""
    in_office = ruleset.in_office
    usual = {HOME: ruleset.at_home, OFFICE: in_office, UNATTENDED: in_office, AMBULATORY: ruleset.ambulatory}
    return {setting: block.spread for setting, block in usual.items() if block and block.spread}


def sureness_of_averages(material: ClassifiedAverages, errors: SharedErrors) -> Sureness:
    """Return how sure each average is, and its category."""
    measured, first_day = _measured(material)
    sized = measured.only_where(errors.share_unsized < material.ruleset.sureness.unknown_error_share)
    category, certain = material.categories(), np.full(material.batch.groups, np.nan)
    classified = np.flatnonzero(category != NO_CATEGORY)
    levels = material.levels(classified, deciding_parts(material.sides))
    certain[classified] = certainty(sized, errors.too_high, errors.too_low, classified, category[classified], levels)
    return Sureness(measured, sized, sized.less(errors.in_all), certain, first_day, errors, material)


def _about_the_limit(guideline: Guideline, side: int) -> tuple[Category, Category]:
    """Return what lies below a guideline's limit of hypertension, and from it on."""
    systolic, diastolic = guideline.raised_from(LIMITS_OF[MEASURED_SIDES[side]])
    return Category("below", "", -np.inf, -np.inf), Category("raised", "", systolic, diastolic)


def _measured(material: ClassifiedAverages) -> tuple[LongRun, Floats]:
    """Return what was measured as an estimate of the long run, and by how much the first day makes averages too high."""
    batch, ruleset, selection = material.batch, material.ruleset, material.selection
    kept = selection.left_out == KEPT
    calendar = calendar_of(batch, kept | (selection.averages["all"] & (batch.setting == AMBULATORY)))
    above = ruleset.at_home.first_day if ruleset.at_home else (0.0, 0.0)
    first_day = first_day_excess(batch, kept & (batch.setting == HOME), calendar, np.array(above))
    people = population_at_home([request.population for request in batch.requests])
    means = long_run(material.averages, calendar, usual_spreads(ruleset), first_day, people)
    decides = np.flatnonzero(material.sides.ambulatory != NO_SIDE)
    if not len(decides):
        return means, first_day
    mean = means.mean.copy()
    mean[:, decides * len(SETTINGS) + AMBULATORY] = material.sides.measured.mean[
        :, material.sides.ambulatory[decides], decides
    ]
    return replace(means, mean=mean), first_day
