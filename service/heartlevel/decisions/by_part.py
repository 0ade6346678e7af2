"""What is kept of a part of files: each decision with where its subject stands. Apart, as the service has no tables."""

from collections.abc import Iterator, Sequence

from heartlevel.decisions.decided import Decision, decided_on
from heartlevel.located import AssessedSubjects


def decided_in_part(groups: Sequence[AssessedSubjects]) -> list[Decision]:
    """Return what is kept of the subjects of some groups, in their order, each with where it stands: input and line."""
    located = (item for group in groups for item in _located(group))
    return [decision for _, decision in sorted(located, key=lambda item: item[0])]


def _located(group: AssessedSubjects) -> Iterator[tuple[int, Decision]]:
    for subject, (number, row) in enumerate(zip(group.numbers.tolist(), group.starts.tolist(), strict=True)):
        where = {"input": int(group.inputs[row]) + 1, "line": int(group.lines[row])}
        yield number, {**where, **decided_on(group.conclusions, subject)}
