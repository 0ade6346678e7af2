"""What technique faults are published to do to readings: for what ifs only, no reading is ever corrected by it."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from heartlevel.columns import Columns, Floats
from heartlevel.intake.batch import Batch
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.vocabulary import EFFECTS, PRESSURES

DOUBTFUL = EFFECTS.index("doubtful")
SIGNS = {"high": 1.0, "low": -1.0}


def known_errors(batch: Batch, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]]) -> Floats:
    """Return by how much each reading would read too high for its faults (mm[Hg], a row a pressure).

    Of the faults that make it doubtful the strongest that reads high less the strongest that reads low, each by the middle
    of its published range or by its computed amount: errors are never added up. NaN where no fault has a known direction.
    """
    high, low = np.zeros((len(PRESSURES), batch.size)), np.zeros((len(PRESSURES), batch.size))
    known = np.zeros(batch.size, dtype=np.bool_)
    for scope, rows in (("reading", slice(None)), ("sitting", batch.sitting_of)):
        for rule, fired in zip(verdicts[scope].rules, verdicts[scope].fired(), strict=True):
            if rule.effect == DOUBTFUL and rule.expected_error and fired.any():
                at_fault = fired[rows]
                for pressure, size in _sizes(rule, facts[scope]):
                    excess = np.where(at_fault, size if isinstance(size, float) else size[rows], 0.0)
                    high[pressure], low[pressure] = np.maximum(high[pressure], excess), np.minimum(low[pressure], excess)
                    known |= at_fault
    return np.where(known, high + low, np.nan)


def _sizes(rule: Rule, facts: Columns[Any]) -> Iterator[tuple[int, float | Floats]]:
    """Yield each pressure whose error has a known direction, and how much too high it reads: for all, or by row."""
    for pressure, shift in rule.expected_error.items():
        if shift.amount:
            yield PRESSURES.index(pressure), facts[shift.amount]
        elif shift.reads in SIGNS and shift.bounds is not None:
            yield PRESSURES.index(pressure), SIGNS[shift.reads] * float(np.mean(shift.bounds))
