"""The periods that one person's readings fall into: named in the request, else cut by treatment and by long pauses."""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeAlias

import numpy as np

from heartlevel.columns import Bools, Ints
from heartlevel.intake.batch import Batch
from heartlevel.vocabulary import SETTINGS

Pauses: TypeAlias = Mapping[str, float]  # longest pause within a period, days, by setting
# Of what periods are told apart by: the name, or "" and how many cuts and named days lie before.
Key: TypeAlias = tuple[str, int, int]
CURRENT = -1
BEGINS = ("first-reading", "named", "treatment-changed", "pause", "outside-named-periods")


@dataclass(frozen=True, slots=True)
class Kind:
    """A period's name, if it has one, and why it begins where it does."""

    name: str | None
    begins: str  # one of BEGINS


@dataclass(frozen=True, slots=True)
class Periods:
    """The periods of the subjects that have several. Earlier ones are numbered by subject and time."""

    of_reading: Ints  # number of the earlier period, or CURRENT
    subject_of: Ints  # of each earlier period
    kinds: Sequence["Kind"]  # of each earlier period
    current_kinds: Mapping[int, "Kind"]  # by subject, of those that have earlier ones

    @property
    def current(self) -> Bools:
        """Mark the readings of each subject's latest period."""
        marked: Bools = self.of_reading == CURRENT
        return marked

    def excerpt(self, batch: Batch) -> Batch:
        """Return the earlier periods as a batch of its own, a subject each."""
        rows = np.flatnonzero(~self.current)
        rows = rows[np.argsort(self.of_reading[rows], kind="stable")]
        return batch.excerpt(rows, self.of_reading[rows], self.subject_of)


def periods_of(batch: Batch, pauses: Pauses) -> Periods | None:
    """Return the periods of a batch; None where no subject has more than one.

    The latest period is the one with the latest reading. A period is what the reading names, else one that the request
    names and whose days include it (the one that begins last), else all readings between two cuts: the dates on which
    treatment began or changed, and the middle of each pause within a setting that is longer than `pauses` allows.
    """
    of_reading = np.full(batch.size, CURRENT, dtype=np.int64)
    owners, kinds, current_kinds = list[int](), list[Kind](), dict[int, Kind]()
    for subject in _in_question(batch, pauses):
        rows = batch.rows_of(subject)
        keys = _keys(batch, subject, pauses)
        in_time = list(dict.fromkeys(reversed(keys)))[::-1]  # by last reading
        if len(in_time) < 2:
            continue
        number = {key: earlier for earlier, key in enumerate(in_time[:-1], len(owners))} | {in_time[-1]: CURRENT}
        of_reading[rows] = [number[key] for key in keys]
        owners += [subject] * (len(in_time) - 1)
        *earlier, current_kinds[subject] = _kinds(batch, subject, keys, in_time)
        kinds += earlier
    if not owners:
        return None
    return Periods(of_reading, np.array(owners, dtype=np.int64), kinds, current_kinds)


def _in_question(batch: Batch, pauses: Pauses) -> Iterator[int]:
    """Yield the subjects that may have more than one period; of most a glance at their first and last day tells."""
    subjects = np.arange(len(batch.requests))
    starts = np.searchsorted(batch.subject_of, np.append(subjects, len(subjects)))
    measured = starts[1:] > starts[:-1]
    first, last = (np.where(measured, np.append(batch.day, 0)[rows], 0) for rows in (starts[:-1], starts[1:] - 1))
    since = batch.subjects["treatment_since"]
    named = np.zeros(len(subjects), dtype=bool)
    named[batch.subject_of[~np.isnan(batch.readings["period_number"])]] = True
    asked = np.array(
        [bool(request.periods or request.subject.get("treatment_changes")) for request in batch.requests], bool
    )
    # Days are local: with mixed offsets the first reading may have a day after the second's.
    long = last - first + 1 > min(pauses.values(), default=np.inf)
    within = (since > first - 1) & (since <= last + 1)
    yield from np.flatnonzero(measured & (named | asked | long | within)).tolist()


def _keys(batch: Batch, subject: int, pauses: Pauses) -> list[Key]:
    """Return what each reading's period is told apart by."""
    rows, request = batch.rows_of(subject), batch.requests[subject]
    ranges = _ranges(request.periods)
    edges = sorted({edge for _, begins, ends in ranges for edge in (begins, ends + 1)})
    cuts = sorted(set(_treatment_days(batch, subject)) | set(_pauses(batch, rows, pauses)))
    numbers = batch.readings["period_number"][rows].tolist()
    keys = []
    for number, day in zip(numbers, batch.day[rows].tolist(), strict=True):
        name = batch.period_names[int(number)] if number == number else None
        name = name or next((name for name, begins, ends in reversed(ranges) if begins <= day <= ends), None)
        keys.append((name, 0, 0) if name else ("", bisect_right(cuts, day), bisect_right(edges, day)))
    return keys


def _kinds(batch: Batch, subject: int, keys: Sequence[Key], in_time: Sequence[Key]) -> list[Kind]:
    """Return the kinds of a subject's periods, which are in time order."""
    days, changes = batch.day[batch.rows_of(subject)].tolist(), list(_treatment_days(batch, subject))
    kinds, before = list[Kind](), None
    for key in in_time:
        mine = [day for own, day in zip(keys, days, strict=True) if own == key]
        if key[0]:
            begins = "named"
        elif before is None:
            begins = "first-reading"
        elif any(before < day <= min(mine) for day in changes):
            begins = "treatment-changed"
        else:
            begins = "outside-named-periods" if batch.requests[subject].periods else "pause"
        kinds.append(Kind(key[0] or None, begins))
        before = max(mine)
    return kinds


def _ranges(periods: Sequence[Mapping[str, Any]]) -> list[tuple[str, int, int]]:
    """Return the name, first and last day of each named period; one without an end lasts until the next begins."""
    ranges: list[tuple[str, int, int]] = []
    next_begins = date.max.toordinal()
    for period in reversed(periods):
        first = date.fromisoformat(period["from"]).toordinal()
        last = date.fromisoformat(period["to"]).toordinal() if period.get("to") else next_begins - 1
        ranges.append((period["name"], first, last))
        next_begins = first
    return ranges[::-1]


def _treatment_days(batch: Batch, subject: int) -> Iterator[int]:
    since = batch.subjects["treatment_since"][subject]
    if since == since:
        yield int(since)
    for changed in batch.requests[subject].subject.get("treatment_changes") or ():
        if changed is not None:  # one that could not be read
            yield date.fromisoformat(changed).toordinal()


def _pauses(batch: Batch, rows: slice, pauses: Pauses) -> Iterator[int]:
    """Yield the day in the middle of each pause that is too long: what lies between belongs to the nearer readings."""
    setting, day = batch.setting[rows], batch.day[rows]
    for name, longest in pauses.items():
        days = np.unique(day[setting == SETTINGS.index(name)])
        for before, after in zip(days[:-1].tolist(), days[1:].tolist(), strict=True):
            if after - before > longest:
                yield (before + after + 1) // 2
