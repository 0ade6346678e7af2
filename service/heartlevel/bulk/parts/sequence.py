"""Rows that are grouped by subject already, taken as they come."""

from collections.abc import Iterator

import numpy as np

from heartlevel.bulk.parts.grouping import RowsRead, Unreadable, hash_of
from heartlevel.bulk.parts.sheets import MOST_ROWS, SUBJECT, NamedRows, Sheets, lines_of, sheets_of
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.columns import Bools, Ints
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy

MOST_REMEMBERED = 1_000_000


def in_sequence(rows: RowsRead) -> Iterator[Sheets | Unreadable]:
    """Yield the subjects of rows that are grouped by subject already; a subject that returns is named, not assessed.

    Raises WrongCall where that cannot be watched over in bounded memory: many subjects in no order.
    """
    runs = _Runs()
    for item in rows:
        if isinstance(item, Unreadable):
            yield item
            continue
        left_out, closed = runs.followed_by(item)
        yield from left_out
        if closed:
            yield sheets_of(closed)
    if runs.held:
        yield sheets_of(runs.held)


class _Runs:
    """Runs of rows of one subject, the last of which may go on in the rows that follow."""

    def __init__(self) -> None:
        self._seen, self._last, self._returned = _Seen(), "", False
        self.held: list[NamedRows] = []  # rows of the last run; none if its subject returned

    def followed_by(self, new: NamedRows) -> tuple[list[Unreadable], list[NamedRows]]:
        """Return the rows left out, since their subject was there before, and those of subjects that are complete."""
        starts, names = _runs_of(new)
        goes_on = names[0] == self._last
        returned = np.array([self._has_returned(name) for name in names])
        left_out = np.repeat(returned, np.diff(starts, append=len(new.rows)))
        unreadable = [Unreadable(new.input, line, "subject-returned") for line in lines_of(new.rows)[left_out].tolist()]
        last = int(starts[-1])
        closed = [] if goes_on and last == 0 else [*self.held, *_kept_rows(new, slice(0, last), left_out)]
        held = self.held if goes_on and last == 0 else []
        if sum(len(named.rows) for named in held) < MOST_ROWS:
            held = [*held, *_kept_rows(new, slice(last, None), left_out)]
        self.held = held
        return unreadable, closed

    def _has_returned(self, name: str) -> bool:
        if name != self._last:
            self._last, self._returned = name, self._seen.before(name)
        return self._returned


def _runs_of(named: NamedRows) -> tuple[Ints, list[str]]:
    """Return where runs of one subject start, and the subject of each."""
    names = named.rows.column(SUBJECT)
    code = as_numpy(names.dictionary_encode().indices)
    starts = np.flatnonzero(np.append(True, code[1:] != code[:-1]))
    return starts, names.take(as_arrow(starts)).to_pylist()


def _kept_rows(named: NamedRows, part: slice, left_out: Bools) -> list[NamedRows]:
    rows = named.rows[part]
    if left_out[part].any():
        rows = rows.filter(as_arrow(~left_out[part]))
    return [NamedRows(named.input, rows)] if len(rows) else []


class _Seen:
    """Remembers subjects, or, once they are many, only the last one of an ascending order."""

    def __init__(self) -> None:
        self._hashes: set[int] = set()
        self._last, self._ascending = "", True

    def before(self, subject: str) -> bool:
        """Tell whether a subject was there before, and remember it."""
        if len(self._hashes) < MOST_REMEMBERED:
            known = (hashed := hash_of(subject, 0)) in self._hashes
            self._hashes.add(hashed)
            self._ascending = self._ascending and (known or subject > self._last)
            self._last = max(self._last, subject)
            return known
        if not self._ascending:
            raise WrongCall(f"more than {MOST_REMEMBERED} subjects in no order; leave --grouped out")
        known, self._ascending = subject <= self._last, subject > self._last
        self._last = max(self._last, subject)
        return known
