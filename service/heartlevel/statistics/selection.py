"""Which readings each average takes: the protocol's discards, the times of day, the kinds of day."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, among, first_case, rank_within, run_starts
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.vocabulary import RELIABILITIES, SETTINGS

HOME, OFFICE, UNATTENDED, AMBULATORY = map(SETTINGS.index, ("home", "office", "office-unattended", "ambulatory"))
IN_OFFICE = (OFFICE, UNATTENDED)  # averaged by the same schedule, and never together
UNUSABLE, DOUBTFUL = RELIABILITIES.index("unusable"), RELIABILITIES.index("doubtful")

# Why the protocol's average leaves a reading out; the first reason that holds is given.
KEPT, BY_RULE, FIRST_DAYS, FIRST_OF_SITTING, BEYOND_COUNT, OFFICE_USE, NO_PROTOCOL, EARLIER = range(8)
LEFT_OUT = ("", "unusable-by-rule", "first-days-discarded", "first-of-sitting-discarded",
            "beyond-readings-per-sitting", "not-among-office-readings-used", "setting-without-protocol",
            "earlier-period")  # fmt: skip
BASES = ("all", "sound", "protocol", "morning", "evening", "work-days", "free-days")
ALTERNATIVES = ("every-usable-reading", "without-doubtful", "without-first-of-sitting", "without-first-day")
OFFICE_USES = ("all", "last-two", "lower-of-last-two", "all-but-first")


@dataclass(frozen=True, slots=True)
class UsableRanks:
    """Which readings are usable, and each one's rank among the usable ones of its sitting, from 0."""

    usable: Bools
    rank: Ints  # counted from the first
    last: Ints  # counted from the last


@dataclass(frozen=True, slots=True)
class Selection:
    """A mask over readings for each average, and the reason each reading is left out of the protocol's."""

    averages: dict[str, Bools]  # reported, by basis
    alternatives: dict[str, Bools]  # other defensible selections of the protocol's readings
    left_out: Ints
    ranks: UsableRanks


def select(batch: Batch, reliability: Ints, work_day: Floats, protocols: Sequence[Protocol]) -> Selection:
    """Select readings by protocol (one a subject), time of day, kind of day and reliability."""
    rule = _Rules(batch, protocols)
    current = True if batch.current is None else batch.current
    usable = (reliability != UNUSABLE) & current
    sound = usable & (reliability != DOUBTFUL)  # what nobody documented is not doubted for it
    rank, last = _ranks(batch, usable)
    ranks = UsableRanks(usable, rank, last)
    left_out = _left_out(batch, rule, ranks)
    kept = left_out == KEPT
    averages = {
        "all": usable,
        "sound": sound,
        "protocol": kept,
        "morning": usable & rule.within("morning"),
        "evening": usable & rule.within("evening"),
        "work-days": usable & (work_day == 1),
        "free-days": usable & (work_day == 0),
    }
    alternatives = {
        "every-usable-reading": usable,
        "without-doubtful": kept & sound,
        "without-first-of-sitting": kept & (rank > 0),
        "without-first-day": kept & (batch.day_rank > 0),
    }
    return Selection(averages, alternatives, left_out, ranks)


class _Rules:
    """The subjects' protocols, spread over their readings."""

    def __init__(self, batch: Batch, protocols: Sequence[Protocol]) -> None:
        self._batch, self._protocols = batch, protocols

    def __getitem__(self, name: str) -> Floats:
        of_subject = np.array([protocol.limits[f"protocol.{name}"] for protocol in self._protocols], dtype=np.float64)
        return of_subject[self._batch.subject_of]

    def within(self, part: str) -> Bools:
        hour = self._batch.hour
        return (hour >= self[f"{part}.from_hour"]) & (hour < self[f"{part}.before_hour"])

    @property
    def office_use(self) -> Ints:
        of_subject = np.array([OFFICE_USES.index(protocol.office_use) for protocol in self._protocols], dtype=np.int64)
        return of_subject[self._batch.subject_of]


def _ranks(batch: Batch, usable: Bools) -> tuple[Ints, Ints]:
    """Return each usable reading's rank among the usable ones of its sitting, from the first and from the last."""
    sittings = batch.sitting_of[usable]
    rank = np.zeros(batch.size, dtype=np.int64)
    rank[usable] = rank_within(sittings, batch.sittings)
    counts = np.bincount(sittings, minlength=batch.sittings)
    return rank, (counts[batch.sitting_of] - 1 - rank if batch.size else rank)


def _left_out(batch: Batch, rule: _Rules, ranks: UsableRanks) -> Ints:
    rank = ranks.rank
    home, office = batch.setting == HOME, among(batch.setting, IN_OFFICE)
    skipped = rule["home.discard_first_readings"]
    most = skipped + rule["home.readings_per_sitting"]
    reasons = [
        *([] if batch.current is None else [(~batch.current, EARLIER)]),
        (~ranks.usable, BY_RULE),
        (home & (batch.day_rank < rule["home.discard_first_days"]), FIRST_DAYS),
        (home & (rank < skipped), FIRST_OF_SITTING),
        (home & (rank >= most), BEYOND_COUNT),
        (office & ~_used_in_office(batch, rule.office_use, ranks), OFFICE_USE),
        (~(home | office | (batch.setting == AMBULATORY)), NO_PROTOCOL),
    ]
    return first_case(reasons, KEPT)


def used_in_office(batch: Batch, ranks: UsableRanks, use: str) -> Bools:
    """Mark the office readings of each sitting that a protocol with this use averages, as far as they are usable."""
    match use:
        case "last-two":
            last_two: Bools = ranks.last < 2
            return last_two
        case "lower-of-last-two":
            return _lowest(batch, ranks.usable & (ranks.last < 2) & among(batch.setting, IN_OFFICE))
        case "all-but-first":
            later: Bools = (ranks.rank > 0) | (ranks.last == 0)
            return later
        case _:
            return ranks.usable


def _used_in_office(batch: Batch, uses: Ints, ranks: UsableRanks) -> Bools:
    """Mark the office readings that each reading's own protocol averages."""
    used = np.zeros(batch.size, dtype=np.bool_)
    for use in np.unique(uses).tolist():
        mine = uses == use
        used[mine] = used_in_office(batch, ranks, OFFICE_USES[use])[mine]
    return used


def _lowest(batch: Batch, chosen: Bools) -> Bools:
    """Mark each sitting's chosen reading with the lowest systolic (then diastolic) pressure."""
    rows = np.flatnonzero(chosen)
    systolic, diastolic = batch.readings["systolic"][rows], batch.readings["diastolic"][rows]
    order = np.lexsort((diastolic, systolic, batch.sitting_of[rows]))
    sittings = batch.sitting_of[rows][order]
    lowest = np.zeros(batch.size, dtype=bool)
    lowest[rows[order][run_starts(sittings)]] = True
    return lowest
