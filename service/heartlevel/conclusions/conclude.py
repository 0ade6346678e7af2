"""All conclusions about the subjects of a batch, in one place: answers, tables and summaries are written from them."""

from dataclasses import dataclass
from functools import cached_property

from heartlevel.assessment import Assessment
from heartlevel.conclusions import coverage
from heartlevel.conclusions.category import categories_of
from heartlevel.conclusions.costs.faults import costs_of
from heartlevel.conclusions.costs.grounds import grounds_of
from heartlevel.conclusions.findings import findings_of
from heartlevel.conclusions.firings import firings_of, found_amiss, rules_by_subject
from heartlevel.conclusions.followup.change import changes_by_subject
from heartlevel.conclusions.followup.devices import devices_by_subject
from heartlevel.conclusions.followup.observed import habits_before
from heartlevel.conclusions.followup.periods import periods_by_subject
from heartlevel.conclusions.followup.pulse import resting_pulses
from heartlevel.conclusions.followup.target import targets_by_subject
from heartlevel.conclusions.next_steps import gaps_of, more_days_of
from heartlevel.conclusions.pattern import (
    labels_of,
    office_minus_home,
    patterns_as_measured,
    patterns_probable,
    settled_labels,
)
from heartlevel.conclusions.sides import objections_of, sides_there, unfit_sides
from heartlevel.conclusions.slips import slips_of
from heartlevel.conclusions.statements.choosing import statements_of
from heartlevel.conclusions.statements.statement import Material
from heartlevel.conclusions.steps import steps_of
from heartlevel.conclusions.sureness import as_measured, errors_of, sureness_of
from heartlevel.conclusions.urgency.episodes import urgency_of


@dataclass(frozen=True)
class Conclusions:
    """What may be said of each subject of a batch. Each part is concluded when it is first asked for, and once."""

    assessment: Assessment

    # Every rule that fires somewhere, each subject's findings, and which rules fire for whom, without their facts.
    firings = cached_property(lambda self: firings_of(self.assessment))
    findings = cached_property(lambda self: findings_of(self.assessment, found_amiss(self.firings), self.urgency))
    rules_by_subject = cached_property(lambda self: rules_by_subject(self.assessment, found_amiss(self.firings)))
    # What rules say that is nothing amiss: the level, what is missing for a comparison.
    notes = cached_property(lambda self: findings_of(self.assessment, found_amiss(self.firings, amiss=False), self.urgency))
    # How urgent it is for whom, by episodes.
    urgency = cached_property(lambda self: urgency_of(self.assessment, self.firings))
    urgent = cached_property(lambda self: self.urgency.urgent)
    slips = cached_property(lambda self: slips_of(self.assessment.batch, self.firings))
    # What speaks against each side, and which of them keeps a pattern from being named.
    sides_there = cached_property(lambda self: sides_there(self.assessment))
    objections = cached_property(lambda self: objections_of(self.assessment, self.findings))
    unfit = cached_property(lambda self: unfit_sides(self.assessment, self.objections))
    # The category of the best average or why there is none; how home and office compare.
    category = cached_property(lambda self: categories_of(self.assessment))
    # What categories rest on, and what faults cost.
    grounds = cached_property(lambda self: grounds_of(self.assessment, self.category))
    costs = cached_property(lambda self: costs_of(self.assessment, self.category, self.rules_by_subject))
    pattern = cached_property(lambda self: labels_of(self.firings, len(self.assessment.batch.requests)))
    patterns_probable = cached_property(lambda self: patterns_probable(self.assessment, self.category, self.pattern))
    patterns_as_measured = cached_property(lambda self: patterns_as_measured(self.assessment))
    pattern_settled = cached_property(lambda self: settled_labels(self.pattern, self.patterns_probable))
    errors_in_it = cached_property(lambda self: errors_of(self.assessment, self.category))
    as_measured = cached_property(lambda self: as_measured(self.assessment))
    sureness = cached_property(lambda self: sureness_of(self.assessment, self.category))
    office_minus_home = cached_property(lambda self: office_minus_home(self.assessment))
    # What to do next, and what to measure that was not measured yet.
    next_steps = cached_property(lambda self: steps_of(self.assessment, self.findings, self.notes, self.objections))
    more_days = cached_property(lambda self: more_days_of(self.assessment, self.category, self.sureness))
    gaps = cached_property(lambda self: gaps_of(self.assessment, self.pattern, self.next_steps))
    # What is said first.
    statements = cached_property(
        lambda self: statements_of(
            Material(self.assessment, self.findings, self.category, self.pattern, self.pattern_settled,
                     self.patterns_probable, lambda: self.as_measured, self.objections, self.unfit, self.next_steps,
                     self.urgency, self.targets, self.periods, self.changes)
        )
    )  # fmt: skip
    # How much was measured and recorded, how sure averages are and how readings vary.
    days_spanned = cached_property(lambda self: coverage.days_spanned(self.assessment))
    by_setting = cached_property(lambda self: coverage.by_setting(self.assessment))
    home_by_hour = cached_property(lambda self: coverage.home_by_hour(self.assessment))
    undocumented = cached_property(lambda self: coverage.undocumented(self.assessment))
    long_run_intervals = cached_property(lambda self: self.assessment.sureness.measured.interval95())
    intervals = cached_property(lambda self: coverage.intervals_of(self.assessment.averages))
    varying = cached_property(lambda self: coverage.varying(self.assessment))
    standard_applies = cached_property(lambda self: coverage.standard_applies(self.assessment))
    # What follows once more was measured: each period by itself, for whom there are several.
    earlier = cached_property(lambda self: conclude(self.assessment.earlier) if self.assessment.earlier else None)
    periods = cached_property(lambda self: periods_by_subject(self.assessment))
    changes = cached_property(lambda self: changes_by_subject(self.assessment, self.periods))
    devices = cached_property(lambda self: devices_by_subject(self.assessment))
    pulses = cached_property(lambda self: resting_pulses(self.assessment))
    habits_before = cached_property(lambda self: habits_before(self.assessment))
    targets = cached_property(lambda self: targets_by_subject(self.assessment, self.category))


def conclude(assessment: Assessment) -> Conclusions:
    """Conclude what may be said of the subjects of an assessment; the same for one as among others."""
    return Conclusions(assessment)
