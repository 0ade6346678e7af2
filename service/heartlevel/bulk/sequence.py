"""Rows that are grouped by subject already, taken as they come."""

from collections.abc import Iterable, Iterator

import numpy as np

from heartlevel.bulk.grouping import Bad, hash_of
from heartlevel.bulk.inputs import WrongCall
from heartlevel.bulk.sheets import MOST_ROWS, SUBJECT, Named, Sheets, lines_of, sheets_of
from heartlevel.columns import Bools, Ints

MOST_REMEMBERED = 1_000_000


def in_sequence(rows: Iterable[Named | Bad]) -> Iterator[Sheets | Bad]:
    """Yield the subjects of rows that are grouped by subject already; a subject that returns is named, not assessed.

    Raises WrongCall where that cannot be watched over in bounded memory: many subjects in no order.
    """
    runs = _Runs()
    for one in rows:
        if isinstance(one, Bad):
            yield one
            continue
        left_out, closed = runs.followed_by(one)
        yield from left_out
        if closed:
            yield sheets_of(closed)
    if runs.held:
        yield sheets_of(runs.held)


class _Runs:
    """Runs of rows of one subject, the last of which may go on in the rows that follow."""

    def __init__(self) -> None:
        self._seen, self._last, self._returned = _Seen(), "", False
        self.held: list[Named] = []  # rows of the last run; none if its subject returned

    def followed_by(self, one: Named) -> tuple[list[Bad], list[Named]]:
        """Return the rows left out, since their subject was there before, and those of subjects that are complete."""
        starts, names = _runs_of(one)
        goes_on = names[0] == self._last
        returned = np.array([self._has_returned(name) for name in names])
        left_out = np.repeat(returned, np.diff(starts, append=len(one.rows)))
        bad = [Bad(one.input, line, "subject-returned") for line in lines_of(one.rows)[left_out].tolist()]
        last = int(starts[-1])
        closed = [] if goes_on and last == 0 else [*self.held, *_some(one, slice(0, last), left_out)]
        before = self.held if goes_on and last == 0 else []
        if sum(len(some.rows) for some in before) < MOST_ROWS:
            before = [*before, *_some(one, slice(last, None), left_out)]
        self.held = before
        return bad, closed

    def _has_returned(self, name: str) -> bool:
        if name != self._last:
            self._last, self._returned = name, self._seen.before(name)
        return self._returned


def _runs_of(one: Named) -> tuple[Ints, list[str]]:
    """Return where runs of one subject start, and the subject of each."""
    import pyarrow

    names = one.rows.column(SUBJECT)
    code = names.dictionary_encode().indices.to_numpy(zero_copy_only=False)
    starts = np.flatnonzero(np.append(True, code[1:] != code[:-1]))
    return starts, names.take(pyarrow.array(starts)).to_pylist()


def _some(one: Named, part: slice, left_out: Bools) -> list[Named]:
    import pyarrow

    rows = one.rows[part]
    if left_out[part].any():
        rows = rows.filter(pyarrow.array(~left_out[part]))
    return [Named(one.input, rows)] if len(rows) else []


class _Seen:
    """Remembers subjects, or, once they are many, only the last one of an ascending order."""

    def __init__(self) -> None:
        self._hashes: set[int] = set()
        self._last, self._ascending = "", True

    def before(self, subject: str) -> bool:
        """Tell whether a subject was there before, and remember it."""
        if len(self._hashes) < MOST_REMEMBERED:
            found = (hashed := hash_of(subject, 0)) in self._hashes
            self._hashes.add(hashed)
            self._ascending = self._ascending and (found or subject > self._last)
            self._last = max(self._last, subject)
            return found
        if not self._ascending:
            raise WrongCall(f"more than {MOST_REMEMBERED} subjects in no order; leave --grouped out")
        found, self._ascending = subject <= self._last, subject > self._last
        self._last = max(self._last, subject)
        return found
