"""By how much home averages are usually too high, by the technique faults that readings have or may have unrecorded."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Columns, Floats, count_by, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.profiles import UsualAtHome
from heartlevel.ruling.effects.known_errors import DOUBTFUL
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.truth import TRUE, UNKNOWN
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.long_run import first_day_excess
from heartlevel.statistics.selection import HOME, KEPT, Selection
from heartlevel.statistics.technique import Excess, Fault, expected_excess
from heartlevel.vocabulary import PRESSURES, TAKEN_BY

BY_STAFF = TAKEN_BY.index("staff")


@dataclass(frozen=True, slots=True)
class Usual:
    """By how much home averages are usually too high (mm[Hg]; a row a pressure, a column a group)."""

    first_day: Floats  # because the first day is averaged too
    in_all: Excess  # for technique besides


def usual_errors(
    batch: Batch, selection: Selection, averages: Averages, verdicts: Mapping[str, Verdicts],
    facts: Mapping[str, Columns[Any]], at_home: UsualAtHome,
) -> Usual:  # fmt: skip
    """Return by how much each group's average by protocol is expected to be too high; 0 but for home."""
    averaged = (selection.left_out == KEPT) & (batch.setting == HOME)
    technique = _of_technique(batch, averaged, verdicts, facts, np.array(at_home.technique))
    first_day = first_day_excess(batch, averaged, averages, np.array(at_home.first_day))
    return Usual(first_day, replace(technique, mean=technique.mean + first_day))


def _of_technique(
    batch: Batch, averaged: Bools, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]], in_all: Floats
) -> Excess:
    """Return by how much technique makes each group's average too high.

    Faults that make readings doubtful count where a rule fires, by their published range or computed amount; those with
    a `usual_share` count by it where the rule is unknown, but not in a trained person's readings.
    """
    group, size = batch.group_of[averaged], batch.groups
    count = np.maximum(count_by(group, size), 1)
    trained = batch.readings["taken_by"][averaged] == BY_STAFF
    faults, amounts = [], np.zeros((len(PRESSURES), size))
    for scope, rows in (("reading", slice(None)), ("sitting", batch.sitting_of)):
        for rule, outcomes in _blamed(verdicts[scope]):
            outcome = outcomes[rows][averaged]
            at_fault, unrecorded = (outcome == TRUE), (outcome == UNKNOWN) & ~trained
            low, high = _range(rule)
            faults.append(Fault(low, high, rule.usual_share, count_by(group, size, at_fault) / count,
                                count_by(group, size, unrecorded) / count))  # fmt: skip
            for pressure, amount in _amounts(rule):
                shift = np.where(at_fault, facts[scope][amount][rows][averaged], 0.0)
                amounts[pressure] += sum_by(group, size, shift) / count
    excess = expected_excess(faults, in_all, size)
    return replace(excess, mean=excess.mean + amounts)


def _blamed(verdicts: Verdicts) -> Iterator[tuple[Rule, Any]]:
    """Yield the rules about faults of known effect, with the outcome in each row."""
    for rule, outcomes in zip(verdicts.rules, verdicts.outcomes, strict=True):
        if rule.expected_error and (rule.usual_share or (rule.effect == DOUBTFUL and (outcomes == TRUE).any())):
            yield rule, outcomes


def _range(rule: Rule) -> tuple[Floats, Floats]:
    """Return the least and the most that a reading is too high by, each by pressure; 0 where no range is published."""
    ends = np.zeros((2, len(PRESSURES)))
    for pressure, shift in rule.expected_error.items():
        if shift.bounds is not None:
            low, high = shift.bounds
            ends[:, PRESSURES.index(pressure)] = (-high, -low) if shift.reads == "low" else (low, high)
    return ends[0], ends[1]


def _amounts(rule: Rule) -> Iterator[tuple[int, str]]:
    """Yield each pressure whose error is a fact of the reading, with that fact."""
    for pressure, shift in rule.expected_error.items():
        if shift.amount:
            yield PRESSURES.index(pressure), shift.amount
