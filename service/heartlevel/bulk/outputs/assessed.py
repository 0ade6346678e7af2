"""Subjects of a part assessed together, from which every output format writes."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from heartlevel.columns import Ints
from heartlevel.conclusions.conclude import Conclusions

Written = TypeVar("Written")


@dataclass(frozen=True, slots=True, eq=False)
class AssessedSubjects:
    """Subjects assessed together, their numbers in the part, and where in the inputs each one's readings stand."""

    conclusions: Conclusions
    numbers: Ints  # by subject
    starts: Ints  # by subject, among the rows of all
    inputs: Ints  # by row, the input's number
    lines: Ints  # by row


def in_order_of_subjects(
    groups: Sequence[AssessedSubjects], write: Callable[[AssessedSubjects], Iterator[Written]]
) -> Iterator[Written]:
    """Yield what is written of each subject of some groups, in the order of their numbers in the part."""
    written: dict[int, Written] = {}
    for group in groups:
        written |= zip(group.numbers.tolist(), write(group), strict=True)
    yield from (written[number] for number in sorted(written))
