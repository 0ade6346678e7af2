"""A sheet of a workbook as texts."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Grid:
    """A sheet as texts, a list a row, all of the same length; None is an empty cell.

    A merged cell's text stands in each of its cells; those in one of several rows are `shared`, each by row and column.
    """

    title: str
    visible: bool
    letters: list[str]  # of the columns
    rows: list[list[str | None]]
    shared: set[tuple[int, int]] = field(default_factory=set)
