"""How the averaged days of each group lie in time: over how many weeks, how far apart, with how much room in the last."""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, run_starts, sum_by
from heartlevel.intake.batch import Batch

DAYS_A_WEEK = 7


@dataclass(frozen=True, slots=True)
class Calendar:
    """One value a group. Weeks are blocks of seven calendar days from the group's first averaged day on."""

    days: Floats  # averaged ones
    span: Floats  # calendar days from the first to the last, both counted; 0 where there is none
    squares: Floats  # sum over weeks of the squared number of averaged days
    last: Floats  # averaged days in the last week
    room: Floats  # calendar days left in that week

    def at(self, groups: Ints) -> "Calendar":
        """Return the calendars of these groups."""
        return Calendar(self.days[groups], self.span[groups], self.squares[groups], self.last[groups], self.room[groups])

    def later(self, more: Floats) -> "Calendar":
        """Return the calendars after so many more days, measured one after the other from the last on.

        They fill the last week first: days of a week that was begun tell nothing of other weeks. Axes of the answer are
        those of `more` and of the groups, as NumPy joins them.
        """
        fills = np.minimum(more, self.room)
        weeks, rest = np.divmod(more - fills, DAYS_A_WEEK)
        squares = self.squares + (self.last + fills) ** 2 - self.last**2 + weeks * DAYS_A_WEEK**2 + rest**2
        last = np.where(more > fills, np.where(rest > 0, rest, DAYS_A_WEEK), self.last + fills)
        return Calendar(self.days + more, self.span + more, squares, last, (self.room - more) % DAYS_A_WEEK)

    @property
    def weeks(self) -> Floats:
        """How many equally filled weeks tell as much: (Σw)² / Σw² (Kish, Survey Sampling, 1965; from memory)."""
        with np.errstate(invalid="ignore", divide="ignore"):
            even: Floats = self.days**2 / self.squares
        return even

    def inflation(self, correlation: float) -> Floats:
        """Return by what the variance of a mean of days grows where one day is so correlated with the next.

        1 + 2 Σ (1 − k/n) rᵏ over k = 1 … n − 1, summed up: (1 + r)/(1 − r) − 2 r (1 − rⁿ)/(n (1 − r)²), for the mean gap of
        the days g, r = correlation^g (Bayley and Hammersley 1946; from memory).
        """
        alike = self._alike(correlation)
        with np.errstate(invalid="ignore", divide="ignore"):
            grown: Floats = (1 + alike) / (1 - alike) - 2 * alike * (1 - alike**self.days) / (self.days * (1 - alike) ** 2)
        return grown

    def shared_with(self, more: Floats, correlation: float) -> tuple[Floats, Floats]:
        """Return the covariance of the mean of these days with that of these and `more` later ones: of days, of weeks.

        The first times the variance between days and the second times that between weeks, both are n⁻¹ m⁻¹ Σ Σ of the
        covariances of the n days with all m. Of weeks Σ nₖ mₖ counts, more days filling the last week first; of days so
        correlated n c, c their own inflation, and with the later ones, taken to lie as far apart,
        r (1 − rⁿ)(1 − rᵐ⁻ⁿ)/(1 − r)².
        """
        alike, every = self._alike(correlation), self.days + more
        with np.errstate(invalid="ignore", divide="ignore"):
            later = alike * (1 - alike**self.days) * (1 - alike**more) / (1 - alike) ** 2
            of_days = (self.inflation(correlation) + later / self.days) / every
            of_weeks = (self.squares + self.last * np.minimum(more, self.room)) / (self.days * every)
        return of_days, of_weeks

    def _alike(self, correlation: float) -> Floats:
        """Return how correlated a day is with the next one measured, by the mean gap of the days."""
        gap = (self.span - 1) / np.maximum(self.days - 1, 1)
        alike: Floats = correlation ** np.maximum(gap, 1)
        return alike


def calendar_of(batch: Batch, averaged: Bools) -> Calendar:
    """Return how the days of the averaged readings lie in time."""
    size, nothing = batch.groups, np.zeros(batch.groups)
    used = np.flatnonzero(count_by(batch.day_of, batch.days, averaged) > 0)
    if not len(used):
        return Calendar(nothing, nothing, nothing, nothing, nothing)
    date = np.zeros(batch.days, dtype=np.int64)
    date[batch.day_of] = batch.day
    group, date = batch.group_of_day[used], date[used]  # days are numbered by group, then by date
    starts = run_starts(group)
    since = date - date[starts][np.cumsum(starts) - 1]
    begins = run_starts(group, since // DAYS_A_WEEK)
    in_week = count_by(np.cumsum(begins) - 1, int(begins.sum()))
    span, last, room = nothing.copy(), nothing.copy(), nothing.copy()
    span[group] = since + 1  # the last of each group remains
    last[group[begins]] = in_week
    room[group] = DAYS_A_WEEK - 1 - since % DAYS_A_WEEK
    return Calendar(count_by(group, size), span, sum_by(group[begins], size, in_week**2), last, room)
