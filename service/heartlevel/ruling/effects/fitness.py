"""Whether a side may speak: what findings say of it, and which way each of them would mislead.

A reason takes away only what leans on it. One that reads high takes a raised average away and leaves one that is not
raised, one that reads low the reverse; one that reads either way takes both.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from heartlevel.columns import TOLERANCE, Bools, Columns, Floats, Ints, count_by
from heartlevel.facts.series import Doubt
from heartlevel.facts.sides import SETTING_NUMBER, Measured
from heartlevel.intake.batch import Batch
from heartlevel.ruling.language.rules import Consequence, Rule
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.statistics.selection import KEPT, Selection
from heartlevel.vocabulary import DIRECTIONS, MEASURED_SIDES, PRESSURES, SETTINGS

READS_HIGH, READS_LOW, READS_EITHER = (DIRECTIONS.index(name) for name in ("high", "low", "either"))
SCOPES_OF_SIDES = ("reading", "sitting", "series")


@dataclass(frozen=True, slots=True)
class SideReason:
    """What one rule says of one side, for those subjects for whom it fires."""

    rule: Rule
    does: str  # one of CONSEQUENCES
    side: int  # in MEASURED_SIDES
    applies: Bools  # one value a subject, as in the other columns
    reads: Ints  # in DIRECTIONS
    takes_away: Bools  # what the side says leans on it


@dataclass(frozen=True, slots=True)
class Fitness:
    """What may speak: a row a side, a column a subject."""

    fit: Bools  # it has an average that nothing takes away
    excluded: Bools  # a reason that excludes takes its category away
    doubted: Bools  # any reason that excludes, even one that does not lean its way
    reasons: tuple[SideReason, ...]  # in the order of the rules


def fitness_of(
    batch: Batch, selection: Selection, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]],
    measured: Measured, limits: Floats,
) -> Fitness:  # fmt: skip
    """Return which sides may speak; `limits` are those of hypertension (axes: pressure, side, subject)."""
    kept = selection.left_out == KEPT
    standing = sides_standing(batch, kept, facts["series"].source.doubt, measured, limits)
    shape = measured.enough.shape
    unfit, excluded, doubted = np.zeros(shape, bool), np.zeros(shape, bool), np.zeros(shape, bool)
    reasons = []
    for rule, consequence, fired in _consequent(verdicts):
        for name in consequence.sides:
            side = MEASURED_SIDES.index(name)
            applies = _concerned(batch, kept, rule, consequence, fired, side)
            if not applies.any():
                continue
            reads = _reads(consequence, facts["series"], len(applies))
            leans = applies & _leans(reads, measured.raised[side])
            match consequence.does:
                case "excludes":
                    excluded[side] |= leans
                    doubted[side] |= applies
                case "shifts":
                    leans &= ~standing[side] | (reads == READS_EITHER)
                case _:
                    leans = np.zeros_like(applies)
            unfit[side] |= leans
            reasons.append(SideReason(rule, consequence.does, side, applies, reads, leans))
    return Fitness(measured.enough & ~np.isnan(measured.raised) & ~unfit, excluded, doubted, tuple(reasons))


def _consequent(verdicts: Mapping[str, Verdicts]) -> Iterator[tuple[Rule, Consequence, Bools]]:
    """Yield the consequences of rules that fire somewhere, with the rows where they do."""
    for scope in SCOPES_OF_SIDES:
        for _, rule, fired in verdicts[scope].firing:
            for consequence in rule.consequences:
                yield rule, consequence, fired


def _concerned(batch: Batch, kept: Bools, rule: Rule, consequence: Consequence, fired: Bools, side: int) -> Bools:
    """Mark the subjects whose side is concerned: for rules of readings and sittings, by the share of its readings."""
    if rule.scope == "series":
        return fired
    mine = kept & (batch.setting == SETTING_NUMBER[side])
    rows = fired if rule.scope == "reading" else fired[batch.sitting_of]
    size = len(batch.requests)
    of_all, at_fault = (count_by(batch.subject_of, size, rows_counted) for rows_counted in (mine, mine & rows))
    concerned: Bools = (at_fault > 0) & (at_fault >= consequence.share * of_all - TOLERANCE)
    return concerned


def _reads(consequence: Consequence, facts: Columns[Any], size: int) -> Ints:
    """Return which way each subject's side would mislead; either where the fact that says it is not known."""
    if consequence.reads in DIRECTIONS:
        return np.full(size, DIRECTIONS.index(consequence.reads))
    told = facts[consequence.reads]
    return np.where(np.isnan(told), READS_EITHER, told).astype(np.int64)


def _leans(reads: Ints, raised: Floats) -> Bools:
    """Mark where what a side says, raised or not, is what the reason would make it say."""
    leans: Bools = (
        (reads == READS_EITHER) | ((reads == READS_HIGH) & (raised == 1)) | ((reads == READS_LOW) & (raised == 0))
        | np.isnan(raised)
    )  # fmt: skip
    return leans


def sides_standing(batch: Batch, kept: Bools, doubt: Doubt, measured: Measured, limits: Floats) -> Bools:
    """Mark the sides that stay raised, or not raised, if their readings were moved back by the size of their faults."""
    if not doubt.any.any():
        return np.ones(measured.enough.shape, dtype=np.bool_)
    groups = batch.group_of[kept]
    counted = np.maximum(count_by(groups, batch.groups), 1)

    def moved(excess: Floats) -> Floats:
        summed = np.stack([np.bincount(groups, weights=row[kept], minlength=batch.groups) for row in excess])
        return (summed / counted).reshape(len(PRESSURES), -1, len(SETTINGS))[:, :, SETTING_NUMBER].transpose(0, 2, 1)

    with np.errstate(invalid="ignore"):
        still_raised = (measured.mean - moved(doubt.high) >= limits - TOLERANCE).any(axis=0)
        still_not = ~(measured.mean - moved(doubt.low) >= limits - TOLERANCE).any(axis=0)
    standing: Bools = np.where(measured.raised == 1, still_raised, still_not)
    return standing
