"""Rules looked up in their truth tables: the patterns that the outcomes of their leaves make, and what these come to."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
import numpy.typing as npt

from heartlevel.columns import Ints
from heartlevel.ruling.running.truth import FALSE, TRUE, UNKNOWN

Outcomes = npt.NDArray[np.int8]
MOST_BYTES = 256
AS_IT_IS = bytes((FALSE, TRUE, UNKNOWN))  # the table of a rule that is one leaf


@dataclass(frozen=True, slots=True)
class Stratum:
    """Rules that can be decided together: those they mention are decided before."""

    rules: Ints
    leaves: Ints  # of the first rule, then of the second, and so on
    weights: Ints  # a column: each leaf's place value in its rule's pattern
    first: Ints  # where each rule's leaves start
    offsets: Ints  # a column: where each rule's table starts


def stratum_of(rules: Ints, leaves: Sequence[Sequence[int]], offsets: Ints) -> Stratum:
    """Lay the rules' leaves end to end, to be summed stretch by stretch.

    A product with a matrix that is mostly zeros would do the same, and start threads that wait busily.
    """
    of_rules = [leaves[rule] for rule in rules.tolist()]
    return Stratum(
        rules,
        leaves=np.array(list(chain.from_iterable(of_rules)), dtype=np.int64),
        weights=np.array([3**digit for used in of_rules for digit in range(len(used))], dtype=np.int64)[:, None],
        first=np.cumsum([0, *map(len, of_rules)])[:-1],
        offsets=offsets[rules][:, None],
    )


def looked_up(table: Outcomes, of_leaves: Sequence[Outcomes]) -> Outcomes:
    """Return a rule's outcomes by those of its leaves, the first of which is the last digit of the pattern."""
    if table.tobytes() == AS_IT_IS:
        return of_leaves[0]
    digit = np.uint8(3) if len(table) <= MOST_BYTES else np.int64(3)
    pattern: npt.NDArray[Any] = of_leaves[-1].astype(digit.dtype)
    for outcomes in reversed(of_leaves[:-1]):
        pattern = pattern * digit + outcomes.view(np.uint8)
    if pattern.dtype != np.uint8:
        entries: Outcomes = table[pattern]
        return entries
    # Python's own table of bytes needs no wider numbers.
    return np.frombuffer(pattern.tobytes().translate(table.tobytes().ljust(MOST_BYTES, b"\0")), dtype=np.int8)
