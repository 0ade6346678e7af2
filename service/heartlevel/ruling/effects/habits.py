"""What was seen of a person's technique while staff watched: habits that stand in for what nobody recorded."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, count_by, extreme_by, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.profiles import FollowUp
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.truth import TRUE, UNKNOWN
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.statistics.selection import HOME, KEPT, Selection
from heartlevel.vocabulary import SETTINGS


@dataclass(frozen=True, slots=True)
class Habits:
    """What the latest observation of each subject shows."""

    day: Floats  # of that observation, proleptic ordinal; NaN for who was not observed
    seen: Mapping[str, Floats]  # by rule, the share of that day's observed readings at fault; NaN where that is not known
    rules: Sequence[Rule]  # faults that are habits: those with a usual share


@dataclass(frozen=True, slots=True)
class StandIn:
    """Habits of the subjects whose home average an observation is near enough to."""

    habits: Habits
    near: Bools  # a value a subject
    follow_up: FollowUp

    def usual_shares(self, rules: Sequence[Rule]) -> Floats:
        """Return how often each fault (a row) is present in each group where nobody recorded it.

        That is as the person's own habits make it at home where these are known. A habit that was seen is likely at home
        and not certain; one that was not seen may still be there.
        """
        shares = np.repeat([[rule.usual_share] for rule in rules], len(self.near) * len(SETTINGS), axis=1)
        for usual, rule in zip(shares[:, HOME :: len(SETTINGS)], rules, strict=True):
            if rule.id in self.habits.seen:
                seen = self.habits.seen[rule.id]
                by_seeing = seen * self.follow_up.likely_if_seen + (1 - seen) * self.follow_up.likely_if_not_seen
                usual[:] = np.where(self.near & ~np.isnan(seen), by_seeing, usual)
        return shares


def stand_in_of(batch: Batch, selection: Selection, verdicts: Verdicts, follow_up: FollowUp | None) -> StandIn | None:
    """Return the habits that stand in for what nobody recorded at home; None where nobody was observed."""
    habits = observed_habits(batch, verdicts) if follow_up else None
    if habits is None or follow_up is None:
        return None
    kept = (selection.left_out == KEPT) & (batch.setting == HOME)
    last = extreme_by(batch.subject_of[kept], len(batch.requests), batch.day[kept].astype(np.float64), largest=True)
    with np.errstate(invalid="ignore"):
        return StandIn(habits, np.abs(last - habits.day) <= follow_up.observed_within_days, follow_up)


def observed_habits(batch: Batch, verdicts: Verdicts, before: Floats | None = None) -> Habits | None:
    """Return what was seen of each subject on the last day of observation (`before` a day); None where nobody was."""
    observed = batch.readings["observed"] == 1
    if before is not None:
        observed &= batch.day < before[batch.subject_of]
    if not observed.any():
        return None
    size = len(batch.requests)
    day = extreme_by(batch.subject_of[observed], size, batch.day[observed].astype(np.float64), largest=True)
    rows = np.flatnonzero(observed & (batch.day == day[batch.subject_of]))
    habits = [
        (rule, outcomes) for rule, outcomes in zip(verdicts.rules, verdicts.outcomes, strict=True) if rule.usual_share
    ]
    seen = {}
    for rule, outcomes in habits:
        known = rows[outcomes[rows] != UNKNOWN]
        owners = batch.subject_of[known]
        with np.errstate(invalid="ignore"):
            faulty = sum_by(owners, size, (outcomes[known] == TRUE).astype(np.float64))
            seen[rule.id] = faulty / count_by(owners, size)
    return Habits(day, seen, [rule for rule, _ in habits])
