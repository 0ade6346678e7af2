"""What to measure next: the gaps to fill first, and how many more days."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints, count_by
from heartlevel.conclusions.category import SubjectCategories
from heartlevel.conclusions.pattern import LABELS
from heartlevel.conclusions.steps import Step
from heartlevel.conclusions.sureness import NO_PROBABILITY, SubjectSureness
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.statistics.selection import HOME
from heartlevel.statistics.sureness.more_days import DaysAhead, days_ahead
from heartlevel.vocabulary import SETTINGS, SIDES, SITES

# In the order in which they are to be filled, each with the next steps that ask for the same.
GAPS: Mapping[str, tuple[str, ...]] = {
    "evenings": ("measure-on-ordinary-days", "complete-the-protocol"),
    "mornings": ("measure-on-ordinary-days", "complete-the-protocol"),
    "work-days": ("measure-on-ordinary-days",),
    "free-days": ("measure-on-ordinary-days",),
    "other-arm": ("use-other-arm",),
    "better-cuff": ("use-fitting-cuff",),
    "device-check": ("check-device", "recheck-device", "add-comparison-pairs"),
    "ambulatory": ("confirm-out-of-office",),
}
BY_STEP = ("better-cuff", "device-check")  # gaps that a next step opens, too
DISAGREEING = ("office-only-elevation", "home-only-elevation")
AMBULATORY_DAYS = 2  # at home and in the office each, before readings around the clock are asked for
NO_DAYS = ("no-home-category", *NO_PROBABILITY[1:], "not-within-the-days-looked-ahead")


@dataclass(frozen=True, slots=True)
class MoreDays:
    """One value a subject: how many more days until the home category is expected to be sure, and with what chance."""

    ahead: DaysAhead  # NaN where that cannot be told
    unknown: Ints  # why not: its number in NO_DAYS
    looked_ahead: Floats  # days, the protocol's


@dataclass(frozen=True, slots=True)
class Gap:
    """Something not measured yet; `step` is the next step of the same answer that asks for it, if one does."""

    code: str
    step: str | None


def more_days_of(assessment: Assessment, categories: SubjectCategories, sureness: SubjectSureness) -> MoreDays:
    """Return how many more days at home are expected to make the category there sure, and how probable that is."""
    row, looked_ahead = assessment.averages.row("protocol"), _of_protocol(assessment, "more_days_at_most")
    home, usual = slice(HOME, None, len(SETTINGS)), assessment.rules.at_home
    classified = categories.setting == HOME
    at_home = np.where(classified, assessment.classified.category[row, home], NO_CATEGORY)
    chance = _chance_now(assessment, at_home)
    ahead = days_ahead(
        assessment.sureness.long_run, at_home, chance, assessment.guidelines, looked_ahead, usual.spread if usual else None
    )
    unknown = np.where(~classified, 0, np.where(sureness.unknown > 0, sureness.unknown, len(NO_DAYS) - 1))
    return MoreDays(ahead, unknown, looked_ahead)


def _chance_now(assessment: Assessment, categories: Ints) -> Floats:
    """Return how probable each subject's home category is; NaN where that is not known."""
    chances = assessment.sureness.probabilities.of_category[HOME :: len(SETTINGS)]
    levels = [guideline.categories[SETTINGS[HOME]] for guideline in assessment.guidelines]
    probable = [by_id.get(level[category].id, np.nan) if category != NO_CATEGORY else np.nan
                for by_id, level, category in zip(chances, levels, categories.tolist(), strict=True)]  # fmt: skip
    return np.array(probable, dtype=np.float64)


def gaps_of(assessment: Assessment, labels: Ints, steps: Sequence[Sequence[Step]]) -> list[list[Gap]]:
    """Return each subject's gaps in the order to fill them; none for who was not measured at home.

    `labels` are the patterns' numbers in LABELS, `steps` the next steps.
    """
    batch, size = assessment.batch, len(assessment.batch.requests)
    home = assessment.facts["series"].source.rows(HOME)
    gaping = {code: marked.tolist() for code, marked in _open(assessment, home, labels).items()}
    by_subject: list[list[Gap]] = [[] for _ in steps]
    for subject in np.flatnonzero(count_by(batch.subject_of, size, home) > 0).tolist():
        codes = {step.code for step in steps[subject]}
        for code, alike in GAPS.items():
            step = next((candidate for candidate in alike if candidate in codes), None)
            if (code in gaping and gaping[code][subject]) or (code in BY_STEP and step):
                by_subject[subject].append(Gap(code, step))
    return by_subject


def _open(assessment: Assessment, home: Bools, labels: Ints) -> dict[str, Bools]:
    """Mark who has not measured what is wanted; `home` marks the usable home readings."""
    batch, series, size = assessment.batch, assessment.facts["series"], len(assessment.batch.requests)
    wanted = _of_protocol(assessment, "minimum_days")
    around_the_clock = count_by(batch.subject_of, size, batch.setting == SETTINGS.index("ambulatory"))
    disagreeing = np.logical_or(*(labels == LABELS.index(label) for label in DISAGREEING))
    days = np.minimum(series["home_days"], series["office_days"])
    return {
        "evenings": series["home_evenings"] < wanted,
        "mornings": series["home_mornings"] < wanted,
        "work-days": series["home_work_days"] == 0,
        "free-days": series["home_free_days"] == 0,
        "other-arm": _one_arm_only(assessment, home),
        "device-check": np.bincount(assessment.checks.subject_of, minlength=size) == 0,
        "ambulatory": disagreeing & (days >= AMBULATORY_DAYS) & (around_the_clock == 0),
    }


def _of_protocol(assessment: Assessment, name: str) -> Floats:
    return np.array([protocol.limits[f"protocol.home.{name}"] for protocol in assessment.protocols], dtype=np.float64)


def _one_arm_only(assessment: Assessment, home: Bools) -> Bools:
    """Mark the subjects all of whose readings with a known site are of one arm, some of them usable ones taken at home.

    Who is to avoid the other arm is not marked.
    """
    batch, size = assessment.batch, len(assessment.batch.requests)
    side_of = batch.readings["site"] // (len(SITES) // len(SIDES))  # the sites of one side stand together
    measured = [count_by(batch.subject_of, size, side_of == side) > 0 for side in range(len(SIDES))]
    at_home = [count_by(batch.subject_of, size, home & (side_of == side)) > 0 for side in range(len(SIDES))]
    other_free = [batch.subjects[f"avoid_{side}"] != 1 for side in reversed(SIDES)]
    only = [at_home[side] & ~measured[1 - side] & other_free[side] for side in range(len(SIDES))]
    one_arm: Bools = np.logical_or(*only)
    return one_arm
