"""What technique faults are published to do to readings: for what ifs only, no reading is ever corrected by it."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Columns, Floats
from heartlevel.intake.batch import Batch
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.vocabulary import EFFECTS, PRESSURES

DOUBTFUL = EFFECTS.index("doubtful")
SIGNS = {"high": 1.0, "low": -1.0}


@dataclass(frozen=True, slots=True)
class StrongestErrors:
    """Of each reading's doubtful technique, its sitting's too, the strongest error of each direction (mm[Hg])."""

    high: Floats  # a row a pressure; 0 where nothing reads high, so below
    low: Floats
    sized: Bools  # a fault of known direction and size is there
    unsized: Bools  # a fault of which that is not known is there


def known_errors(batch: Batch, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]]) -> Floats:
    """Return by how much each reading would read too high for its faults (mm[Hg], a row a pressure).

    Of the faults that make it doubtful the strongest that reads high less the strongest that reads low, each by the middle
    of its published range or by its computed amount: errors are never added up. NaN where no fault has a known direction.
    """
    errors = strongest_errors(batch, verdicts, facts, lambda bounds: float(np.mean(bounds)))
    return np.where(errors.sized, errors.high + errors.low, np.nan)


def strongest_errors(
    batch: Batch, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]],
    size_of: Callable[[tuple[float, float]], float],
) -> StrongestErrors:  # fmt: skip
    """Return the strongest errors; `size_of` says what a published range counts for."""
    high, low = np.zeros((len(PRESSURES), batch.size)), np.zeros((len(PRESSURES), batch.size))
    sized, unsized = np.zeros(batch.size, dtype=np.bool_), np.zeros(batch.size, dtype=np.bool_)
    for scope, rows in (("reading", slice(None)), ("sitting", batch.sitting_of)):
        for _, rule, fired in verdicts[scope].firing:
            if rule.effect != DOUBTFUL:
                continue
            at_fault, sizes = fired[rows], list(_sizes(rule, facts[scope], size_of))
            if sizes:
                sized |= at_fault
            else:
                unsized |= at_fault
            for pressure, size in sizes:
                excess = np.where(at_fault, size if isinstance(size, float) else size[rows], 0.0)
                high[pressure], low[pressure] = np.fmax(high[pressure], excess), np.fmin(low[pressure], excess)
    return StrongestErrors(high, low, sized, unsized)


def _sizes(
    rule: Rule, facts: Columns[Any], size_of: Callable[[tuple[float, float]], float]
) -> Iterator[tuple[int, float | Floats]]:
    """Yield each pressure whose error has a known direction, and how much too high it reads: for all, or by row."""
    for pressure, shift in rule.expected_error.items():
        if shift.amount:
            yield PRESSURES.index(pressure), facts[shift.amount]
        elif shift.reads in SIGNS and shift.bounds is not None:
            yield PRESSURES.index(pressure), SIGNS[shift.reads] * size_of(shift.bounds)
