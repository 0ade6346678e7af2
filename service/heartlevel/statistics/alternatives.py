"""Other defensible ways to the average by protocol: what it would be if. No reading is ever corrected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, among, count_by, extreme_by, mean_by, or_zero, run_starts, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.statistics.agreement import Agreement
from heartlevel.statistics.averages import Averages, means_by
from heartlevel.statistics.selection import ALTERNATIVES, HOME, IN_OFFICE, KEPT, Selection, UsableRanks, used_in_office
from heartlevel.vocabulary import PRESSURES, SETTINGS

BY_PROTOCOL = "by-protocol-"
WITHOUT_EXTREME_DAY, MEAN_OF_DAYS = "without-most-extreme-day", "mean-of-day-means"
BY_HEIGHT, BY_BIAS = "shifted-by-arm-height", "shifted-by-device-bias"
WITHOUT_DOUBTFUL, BY_TECHNIQUE = "without-doubtful", "shifted-by-technique-error"
DISCARDS = ("discard_first_days", "discard_first_readings", "readings_per_sitting")
AT_HOME = tuple(f"protocol.home.{name}" for name in DISCARDS)
MINIMA = tuple(f"protocol.{name}" for name in ("home.minimum_recorded", "home.minimum_days", "office.minimum_readings",
                                               "office.minimum_days", "home.minimum_kept"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Alternatives:
    """Systolic and diastolic averages (mm[Hg]; NaN where no reading remains) of every group, a row a name."""

    names: tuple[str, ...]
    mean: Floats  # axes: pressure, name, group
    applies: Bools  # axes: name, group; one that applies without a mean says that the category rests on no reading
    enough: Bools  # axes: name, group; false where it says nothing: a protocol's minimum is not met, no reading is sound


@dataclass(frozen=True, slots=True)
class Offsets:
    """By how much each reading is too high (mm[Hg]; NaN where unknown): for the arm's height, the device, technique."""

    height: Floats
    bias: Floats  # a row a pressure
    bias_error: Floats  # standard error of that, a row a pressure; NaN where one comparison leaves it unknown
    technique: Floats  # a row a pressure


def alternatives(
    batch: Batch, selection: Selection, averages: Averages, own: Sequence[Protocol],
    every: Mapping[str, Protocol], offsets: Offsets,
) -> Alternatives:  # fmt: skip
    """Return what the average by protocol would be under each alternative, for all groups at once.

    `own` are the protocols in use, one a subject; `every` all protocols, by name. Sittings stay as the own protocol has
    them.
    """
    kept = selection.left_out == KEPT
    pressures = np.array([batch.readings[name] for name in PRESSURES])
    base, row = averages.mean[:2, averages.row("protocol")], averages.row("protocol")
    first = [averages.row(name) for name in ALTERNATIVES]
    by_height, by_bias = (_shift(batch, kept, offset) for offset in (offsets.height[None], offsets.bias))
    shifts = np.stack([np.broadcast_to(by_height, by_bias.shape), by_bias], axis=1)
    doubtful = kept & ~selection.averages["sound"]
    # A doubtful reading whose fault has no published size is left out of the mean less technique errors.
    explained = kept & ~(doubtful & np.isnan(offsets.technique).all(axis=0))
    masks, mask_of = _by_protocols(batch, selection, list(every.values()))
    # One pass over all masks; protocols that select the same readings share one.
    chosen = np.array([without_extreme_day(batch, kept, pressures), explained, *masks])
    counts, _, means = means_by(chosen, pressures, batch.group_of, batch.groups)
    extreme, others, counted = means[:, :1], means[:, 2:][:, mask_of], counts[2:][mask_of]
    technique = means[:, 1:2] - or_zero(_shift(batch, explained, offsets.technique))[:, None]
    mean = np.concatenate(
        [averages.mean[:2, first], extreme, averages.day_mean[:2, row][:, None], others, base[:, None] - shifts, technique],
        axis=1,
    )
    names = (*ALTERNATIVES, WITHOUT_EXTREME_DAY, MEAN_OF_DAYS, *(BY_PROTOCOL + name for name in every), BY_HEIGHT, BY_BIAS,
             BY_TECHNIQUE)  # fmt: skip
    in_doubt = count_by(batch.group_of, batch.groups, doubtful) > 0
    applies, enough = _applying(names, mean, in_doubt, own, minimum_met(averages, counted, list(every.values())))
    return Alternatives(names, mean, applies, enough)


def _applying(
    names: Sequence[str], mean: Floats, in_doubt: Bools, own: Sequence[Protocol], met: Bools
) -> tuple[Bools, Bools]:
    """Return which alternatives apply to each group, and which of these have enough readings to say anything.

    `met` has a row a protocol. Where a reading is doubtful, the alternatives without doubtful readings and by technique
    errors both apply, even if no reading remains for them: the second then says that the category rests on no reading,
    the first says nothing.
    """
    applies = ~np.isnan(mean[0])
    enough = np.ones_like(applies)
    rows = slice(len(ALTERNATIVES) + 2, len(ALTERNATIVES) + 2 + len(met))
    others = np.array([name.removeprefix(BY_PROTOCOL) for name in names[rows]])
    mine = np.array([protocol.id for protocol in own])[:, None] == others
    applies[rows] &= ~np.repeat(mine, len(SETTINGS), axis=0).T
    enough[rows] = met
    without = names.index(WITHOUT_DOUBTFUL)
    enough[without] = applies[without]
    applies[without] |= in_doubt
    applies[names.index(BY_TECHNIQUE)] = in_doubt
    return applies, enough


def minimum_met(averages: Averages, kept: Floats, protocols: Sequence[Protocol]) -> Bools:
    """Mark, for each protocol (a row), the groups that reach its minima of usable readings, days and readings kept.

    The facts home_enough_for_protocol and office_enough_for_protocol say the same of the own protocol.
    """
    limits = np.array([[protocol.limits[name] for name in MINIMA] for protocol in protocols]).T[:, :, None]
    row = averages.row("all")
    met = np.zeros(kept.shape, dtype=np.bool_)
    for setting, (fewest_readings, fewest_days) in ((HOME, limits[:2]), *((office, limits[2:4]) for office in IN_OFFICE)):
        groups = slice(setting, None, len(SETTINGS))
        met[:, groups] = (averages.readings[row, groups] >= fewest_readings) & (averages.days[row, groups] >= fewest_days)
    met[:, HOME :: len(SETTINGS)] &= kept[:, HOME :: len(SETTINGS)] >= limits[4]
    enough: Bools = met & (kept > 0)
    return enough


def without_extreme_day(batch: Batch, kept: Bools, values: Floats) -> Bools:
    """Leave out each group's day farthest from the mean of its days; the first of equally far ones.

    A day's distance is the larger of both pressures' distances, in standard deviations of the days. Where all readings
    are of one day, none is left.
    """
    day = batch.day_of[kept]
    used = np.flatnonzero(np.bincount(day, minlength=batch.days))
    owner = batch.group_of_day[used]
    count = count_by(owner, batch.groups)
    far = np.zeros(len(used))
    with np.errstate(invalid="ignore", divide="ignore"):
        for pressures in values[:, kept]:
            mean = mean_by(day, batch.days, pressures)[used]
            away = np.abs(mean - (sum_by(owner, batch.groups, mean) / count)[owner])
            spread = np.sqrt(sum_by(owner, batch.groups, away * away) / count)[owner]
            # Days that differ by rounding alone are equals.
            far = np.maximum(far, np.where(spread > 0, np.round(away / spread, 9), 0.0))
    farthest = np.flatnonzero(far == extreme_by(owner, batch.groups, far, largest=True)[owner])
    dropped = np.zeros(batch.days, dtype=np.bool_)
    dropped[used[farthest[run_starts(owner[farthest])]]] = True  # days are numbered by group, then by date
    return kept & ~dropped[batch.day_of]


def _shift(batch: Batch, kept: Bools, offset: Floats) -> Floats:
    """Return by how much a known offset (a row each) makes the kept readings' mean too high; NaN where none is known."""
    unknown = np.isnan(offset).all(axis=0)
    if unknown.all():
        return np.full((len(offset), batch.groups), np.nan)
    group, count = batch.group_of[kept], count_by(batch.group_of[kept], batch.groups)
    known = count_by(batch.group_of[kept & ~unknown], batch.groups) > 0
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.stack([sum_by(group, batch.groups, row) / count for row in or_zero(offset[:, kept])])
    return np.where(known, shift, np.nan)


def _by_protocols(batch: Batch, selection: Selection, protocols: Sequence[Protocol]) -> tuple[list[Bools], list[int]]:
    """Return the distinct selections that protocols make, and the index of each protocol's own."""
    kinds = [(tuple(protocol.limits[name] for name in AT_HOME), protocol.office_use) for protocol in protocols]
    distinct = list(dict.fromkeys(kinds))
    ranks = selection.ranks
    at_home, in_office = (ranks.usable & among(batch.setting, settings) for settings in ((HOME,), IN_OFFICE))
    homes = {home: at_home & _within(batch, ranks, *home) for home in {home: None for home, _ in distinct}}
    offices = {use: in_office & used_in_office(batch, ranks, use) for use in {use: None for _, use in distinct}}
    return [homes[home] | offices[use] for home, use in distinct], [distinct.index(kind) for kind in kinds]


def _within(batch: Batch, ranks: UsableRanks, days: float, skipped: float, most: float) -> Bools:
    marked: Bools = (ranks.rank >= skipped) & (ranks.rank < skipped + most) & (batch.day_rank >= days)
    return marked


def offsets_of(batch: Batch, height: Floats, technique: Floats, checked: Ints, agreement: Agreement) -> Offsets:
    """Return each reading's offsets. `checked` is each device check's subject; checks of one device are pooled by pairs."""
    bias, error = np.full((2, len(PRESSURES), batch.size), np.nan)
    checks_of: dict[tuple[int, str], list[int]] = {}
    for row, (subject, check) in enumerate(zip(checked.tolist(), batch.checks, strict=True)):
        if agreement.pairs[row]:  # a check without a pair says nothing, and must not take away what another says
            checks_of.setdefault((subject, check["device"]), []).append(row)
    for (subject, device), rows in checks_of.items():
        pairs = agreement.pairs[rows]
        pooled = (agreement.bias[:, rows] * pairs).sum(axis=1) / pairs.sum()
        readings = batch.requests[subject].readings
        taken_with = [row for row, reading in enumerate(readings, batch.rows_of(subject).start)
                      if reading.data.get("device") == device]  # fmt: skip
        bias[:, taken_with] = pooled[:, None]
        error[:, taken_with] = np.sqrt((agreement.sd[:, rows] ** 2 * pairs).sum(axis=1))[:, None] / pairs.sum()
    return Offsets(height, bias, error, technique)
