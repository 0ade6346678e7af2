"""All conclusions about the subjects of a batch, in one place: answers, tables and summaries are written from them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints
from heartlevel.conclusions import coverage
from heartlevel.conclusions.category import SubjectCategories, categories_of
from heartlevel.conclusions.findings import Finding, Firing, RulesBySubject, findings_of, firings_of, rules_by_subject
from heartlevel.conclusions.next_steps import Gap, MoreDays, gaps_of, more_days_of, steps_of
from heartlevel.conclusions.pattern import (
    OfficeMinusHome,
    PatternsProbable,
    labels_of,
    office_minus_home,
    patterns_probable,
)
from heartlevel.conclusions.slips import slips_of
from heartlevel.conclusions.urgency import urgent_subjects
from heartlevel.intake.faults import Problem


@dataclass(frozen=True)
class Conclusions:
    """What may be said of each subject of a batch. Each part is concluded when it is first asked for, and once."""

    assessment: Assessment

    @cached_property
    def firings(self) -> Sequence[Firing]:
        """Every rule that fires somewhere, with its rows."""
        return firings_of(self.assessment)

    @cached_property
    def findings(self) -> Sequence[Sequence[Finding]]:
        """Each subject's findings with their facts, urgent ones first."""
        return findings_of(self.assessment, self.firings)

    @cached_property
    def rules_by_subject(self) -> RulesBySubject:
        """Which rules fire for whom: the findings without their facts, as columns."""
        return rules_by_subject(self.assessment, self.firings)

    @cached_property
    def urgent(self) -> Bools:
        """For whom something is urgent."""
        return urgent_subjects(self.firings, len(self.assessment.batch.requests))

    @cached_property
    def slips(self) -> dict[int, list[Problem]]:
        """Slips of entry by subject, as problems without words."""
        return slips_of(self.assessment.batch, self.firings)

    @cached_property
    def category(self) -> SubjectCategories:
        """The category of the best average, or why there is none."""
        return categories_of(self.assessment)

    @cached_property
    def pattern(self) -> Ints:
        """How home and office compare, as a number in LABELS."""
        return labels_of(self.firings, len(self.assessment.batch.requests))

    @cached_property
    def patterns_probable(self) -> PatternsProbable:
        """How probable each pattern is, or why that cannot be told."""
        return patterns_probable(self.assessment, self.category)

    @cached_property
    def office_minus_home(self) -> OfficeMinusHome:
        """How much higher the office average is."""
        return office_minus_home(self.assessment)

    @cached_property
    def next_steps(self) -> Sequence[dict[str, list[str]]]:
        """The next steps of each subject by code, with the findings behind each, the most important first."""
        return steps_of(self.assessment, self.findings)

    @cached_property
    def more_days(self) -> MoreDays:
        """How many more days at home are expected to make the category sure."""
        return more_days_of(self.assessment, self.category)

    @cached_property
    def gaps(self) -> Sequence[Sequence[Gap]]:
        """What each subject is to measure that was not measured yet, in order."""
        return gaps_of(self.assessment, self.pattern, self.next_steps)

    @cached_property
    def home_by_hour(self) -> Ints:
        """Usable home readings by subject and local hour."""
        return coverage.home_by_hour(self.assessment)

    @cached_property
    def undocumented(self) -> Sequence[Sequence[tuple[str, float]]]:
        """The details each subject's readings lack, with the share that lack it, the most wanted first."""
        return coverage.undocumented(self.assessment)

    @cached_property
    def intervals(self) -> tuple[Floats, Floats]:
        """Both ends of the 95 % intervals of all averages (axes: quantity, selection, group)."""
        return coverage.intervals_of(self.assessment.averages)

    @cached_property
    def varying(self) -> coverage.Varying:
        """How usable readings vary."""
        return coverage.varying(self.assessment)

    @cached_property
    def standard_applies(self) -> Bools:
        """The device checks to which the accuracy standard's criteria apply."""
        return coverage.standard_applies(self.assessment)


def conclude(assessment: Assessment) -> Conclusions:
    """Conclude what may be said of the subjects of an assessment; the same for one as among others."""
    return Conclusions(assessment)
