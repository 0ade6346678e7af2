"""What technique faults are published to do to readings. It serves what ifs; no reading is ever corrected by it."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from heartlevel.columns import Columns, Floats
from heartlevel.intake.batch import Batch
from heartlevel.ruling.ruleset import Rule
from heartlevel.ruling.verdicts import Verdicts
from heartlevel.vocabulary import RELIABILITIES

PRESSURES = ("systolic", "diastolic")
DOUBTFUL = RELIABILITIES.index("doubtful")
SIGNS = {"high": 1.0, "low": -1.0}


def known_errors(batch: Batch, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]]) -> Floats:
    """Return by how much each reading would read too high for its faults (mm[Hg], a row a pressure).

    Of the faults that make it doubtful the strongest that reads high less the strongest that reads low, each by the middle
    of its published range or by its computed amount: errors are never added up. NaN where no fault has a known direction.
    """
    high, low = np.zeros((len(PRESSURES), batch.size)), np.zeros((len(PRESSURES), batch.size))
    known = np.zeros(batch.size, dtype=np.bool_)
    for scope, rows in (("reading", slice(None)), ("sitting", batch.sitting_of)):
        fired = verdicts[scope].fired()
        for place, rule in enumerate(verdicts[scope].rules):
            if rule.effect == DOUBTFUL and rule.expected_error and fired[place].any():
                of_rule = fired[place][rows]
                for pressure, size in _sizes(rule, facts[scope]):
                    found = np.where(of_rule, size if isinstance(size, float) else size[rows], 0.0)
                    high[pressure], low[pressure] = np.maximum(high[pressure], found), np.minimum(low[pressure], found)
                    known |= of_rule
    return np.where(known, high + low, np.nan)


def _sizes(rule: Rule, facts: Columns[Any]) -> Iterator[tuple[int, float | Floats]]:
    """Yield each pressure whose error has a known direction, and how much too high it reads: for all, or by row."""
    for pressure, shift in rule.expected_error.items():
        if shift.amount:
            yield PRESSURES.index(pressure), facts[shift.amount]
        elif shift.reads in SIGNS and shift.bounds is not None:
            yield PRESSURES.index(pressure), SIGNS[shift.reads] * float(np.mean(shift.bounds))
