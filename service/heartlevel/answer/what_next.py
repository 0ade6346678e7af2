"""What to measure next to be surer: how many more days, and which gaps to fill first."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints, count_by
from heartlevel.statistics.more_days import SURE, more_days
from heartlevel.statistics.selection import HOME, UNUSABLE
from heartlevel.statistics.uncertainty import FEWEST_DAYS
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
DISAGREEING = ("office-only-elevation", "home-only-elevation")
NO_DAYS = ("no-home-category", f"fewer-than-{FEWEST_DAYS}-days", "not-within-the-days-looked-ahead")


class WhatNext:
    """What to do next for all subjects of an assessment, computed once for all of them."""

    def __init__(self, assessment: Assessment) -> None:
        """Compute it."""
        self.of, batch = assessment, assessment.batch
        series, averages = assessment.facts["series"], assessment.averages
        self.row = averages.row("protocol")
        usable = assessment.reliability != UNUSABLE
        self.most = _of_protocol(assessment, "more_days_at_most")
        wanted = _of_protocol(assessment, "minimum_days")
        self.category = assessment.classified.category[self.row, HOME :: len(SETTINGS)]
        chance = _chance_now(assessment, self.category)
        self.needed = more_days(assessment.sureness.long_run, self.category, chance, assessment.guidelines, self.most)
        home, size = usable & (batch.setting == HOME), len(batch.requests)
        self.measured = count_by(batch.subject_of, size, home) > 0
        checked = np.bincount(assessment.checks.subject_of, minlength=size) > 0
        twice = np.minimum(series["home_days"], series["office_days"]) >= 2
        around_the_clock = count_by(batch.subject_of, size, batch.setting == SETTINGS.index("ambulatory"))
        self.gaps: dict[str, Bools] = {
            "evenings": series["home_evenings"] < wanted,
            "mornings": series["home_mornings"] < wanted,
            "work-days": series["home_work_days"] == 0,
            "free-days": series["home_free_days"] == 0,
            "other-arm": _one_arm_only(assessment, home),
            "device-check": ~checked,
            "ambulatory": twice & (around_the_clock == 0),
        }

    def what_next(
        self, subject: int, classification: Mapping[str, Any], label: str, steps: Collection[str]
    ) -> dict[str, Any]:
        """Return what to do next. `label` is the pattern found, `steps` are the codes of the answer's next steps."""
        days = self.needed[subject] if classification.get("setting") == SETTINGS[HOME] else np.nan
        known = bool(days == days)
        return {
            "sure_at": SURE,
            "more_days": int(days) if known else None,
            **({} if known else {"no_more_days": self._why_not(subject, classification)}),
            "days_looked_ahead": int(self.most[subject]),
            "gaps": list(self._gaps(subject, label, steps)),
        }

    def _why_not(self, subject: int, classification: Mapping[str, Any]) -> str:
        if classification.get("setting") != SETTINGS[HOME]:
            return NO_DAYS[0]
        days = self.of.averages.days[self.row, subject * len(SETTINGS) + HOME]
        return NO_DAYS[1] if days < FEWEST_DAYS else NO_DAYS[2]

    def _gaps(self, subject: int, label: str, steps: Collection[str]) -> Iterator[dict[str, Any]]:
        texts = self.of.rules.wording[self.of.batch.requests[subject].language].sureness
        if not self.measured[subject]:
            return
        for code, alike in GAPS.items():
            said = next((one for one in alike if one in steps), None)
            if self._open(code, subject, label) or (code in ("better-cuff", "device-check") and said):
                yield {"code": code, "next_step": said, "text": None if said else texts.get(f"gap-{code}")}

    def _open(self, code: str, subject: int, label: str) -> bool:
        found = bool(self.gaps[code][subject]) if code in self.gaps else False
        return found and (code != "ambulatory" or label in DISAGREEING)


def _chance_now(of: Assessment, category: Ints) -> Floats:
    """Return how probable each subject's home category is; NaN where that is not known."""
    chances = of.sureness.probabilities.of_category[HOME :: len(SETTINGS)]
    levels = [one.categories[SETTINGS[HOME]] for one in of.guidelines]
    found = [of_subject.get(level[place].id, np.nan) if of_subject else np.nan
             for of_subject, level, place in zip(chances, levels, category.tolist(), strict=True)]  # fmt: skip
    return np.array(found, dtype=np.float64)


def _of_protocol(of: Assessment, name: str) -> Floats:
    figures = [one.limits[f"protocol.home.{name}"] for one in of.protocols]
    return np.array(figures, dtype=np.float64)


def _one_arm_only(of: Assessment, home: Bools) -> Bools:
    """Mark the subjects all of whose home readings with a known site are of one arm, the other not to be avoided."""
    batch, size = of.batch, len(of.batch.requests)
    site = batch.readings["site"]
    side_of = site // (len(SITES) // len(SIDES))  # the sites of one side stand together
    by_side = [count_by(batch.subject_of, size, home & (side_of == side)) > 0 for side in range(len(SIDES))]
    other_free = [batch.subjects[f"avoid_{side}"] != 1 for side in reversed(SIDES)]
    only = [by_side[place] & ~by_side[1 - place] & other_free[place] for place in range(len(SIDES))]
    one_arm: Bools = np.logical_or(*only)
    return one_arm
