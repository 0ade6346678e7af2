"""By how much the technique of doubtful readings may have moved them: what decides whether a side still may speak."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from heartlevel.columns import Columns, Floats
from heartlevel.facts.series import Doubt
from heartlevel.intake.batch import Batch
from heartlevel.ruling.effects.known_errors import DOUBTFUL, SIGNS
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.vocabulary import PRESSURES


def doubt_of(batch: Batch, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]]) -> Doubt:
    """Return each reading's doubt, of its own findings and its sitting's.

    The strongest fault of each direction counts, by the far end of its published range or its computed amount: errors are
    never added up, and one more fault never makes less of the others.
    """
    high, low = np.zeros((len(PRESSURES), batch.size)), np.zeros((len(PRESSURES), batch.size))
    unsized = np.zeros(batch.size, dtype=np.bool_)
    for scope, rows in (("reading", slice(None)), ("sitting", batch.sitting_of)):
        for rule, fired in zip(verdicts[scope].rules, verdicts[scope].fired(), strict=True):
            if rule.effect != DOUBTFUL or not fired.any():
                continue
            at_fault = fired[rows]
            sizes = list(_largest(rule, facts[scope]))
            if not sizes:
                unsized |= at_fault
            for pressure, size in sizes:
                excess = np.where(at_fault, size if isinstance(size, float) else size[rows], 0.0)
                high[pressure], low[pressure] = np.fmax(high[pressure], excess), np.fmin(low[pressure], excess)
    return Doubt(high, low, unsized)


def _largest(rule: Rule, facts: Columns[Any]) -> Iterator[tuple[int, float | Floats]]:
    """Yield each pressure whose error has a known direction, and the most that it reads too high: for all, or by row."""
    for pressure, shift in rule.expected_error.items():
        if shift.amount:
            yield PRESSURES.index(pressure), facts[shift.amount]
        elif shift.reads in SIGNS and shift.bounds is not None:
            yield PRESSURES.index(pressure), SIGNS[shift.reads] * max(map(abs, shift.bounds))
