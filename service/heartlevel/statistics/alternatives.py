"""Other defensible ways to the average by protocol: what it would be if. No reading is ever corrected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Bools, Floats, Ints, count_by, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.statistics.agreement import Agreement
from heartlevel.statistics.averages import Averages
from heartlevel.statistics.selection import ALTERNATIVES, HOME, KEPT, OFFICE, Selection, UsableRanks, used_in_office
from heartlevel.vocabulary import SETTINGS

BY_PROTOCOL = "by-protocol-"
WITHOUT_EXTREME_DAY, MEAN_OF_DAYS = "without-most-extreme-day", "mean-of-day-means"
BY_HEIGHT, BY_BIAS = "shifted-by-arm-height", "shifted-by-device-bias"
WITHOUT_DOUBTFUL, BY_TECHNIQUE = "without-doubtful", "shifted-by-technique-error"
PRESSURES = 2
DISCARDS = ("discard_first_days", "discard_first_readings", "readings_per_sitting")
AT_HOME = tuple(f"protocol.home.{name}" for name in DISCARDS)
MINIMA = tuple(f"protocol.{name}" for name in ("home.minimum_recorded", "home.minimum_days", "office.minimum_readings",
                                               "office.minimum_days", "home.minimum_kept"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Alternatives:
    """Systolic and diastolic averages (mm[Hg]; NaN where no reading remains) of every group, a row a name."""

    names: tuple[str, ...]
    mean: Floats  # axes: pressure, name, group
    applies: Bools  # axes: name, group; without a mean it stands for a category that rests on nothing
    enough: Bools  # axes: name, group; false where it has no say: a protocol's minimum is not met, no reading is sound


@dataclass(frozen=True, slots=True)
class Offsets:
    """What each reading would read too high by (mm[Hg]), NaN where unknown: for the arm's height, device, technique."""

    height: Floats
    bias: Floats  # a row a pressure
    technique: Floats  # a row a pressure


def alternatives(
    batch: Batch, selection: Selection, averages: Averages, own: Sequence[Protocol],
    every: Mapping[str, Protocol], offsets: Offsets,
) -> Alternatives:  # fmt: skip
    """Return what the average by protocol would be under each alternative, for all groups at once.

    `own` are the protocols in use, one a subject; `every` those there are, by name. Sittings stay as one's own
    protocol has them.
    """
    kept = selection.left_out == KEPT
    of_values = np.stack([batch.readings["systolic"], batch.readings["diastolic"]])
    base, row = averages.mean[:2, averages.row("protocol")], averages.row("protocol")
    first = [averages.row(name) for name in ALTERNATIVES]
    shifts = np.stack([_shift(batch, kept, np.stack([offsets.height] * PRESSURES)), _shift(batch, kept, offsets.bias)], 1)
    doubtful = kept & ~selection.averages["sound"]
    # A reading of whose fault nothing is published has no say in it.
    explained = kept & ~(doubtful & np.isnan(offsets.technique).all(axis=0))
    masks, of_each = _by_protocols(batch, selection, list(every.values()))
    # One pass over all masks; of the protocols, those that choose alike share one.
    means, counts = _means(batch, [without_extreme_day(batch, kept, of_values), explained, *masks], of_values)
    extreme, others, counted = means[:, :1], means[:, 2:][:, of_each], counts[2:][of_each]
    technique = means[:, 1:2] - np.nan_to_num(_shift(batch, explained, offsets.technique))[:, None]
    mean = np.concatenate(
        [averages.mean[:2, first], extreme, averages.day_mean[:2, row][:, None], others, base[:, None] - shifts, technique],
        axis=1,
    )
    names = (*ALTERNATIVES, WITHOUT_EXTREME_DAY, MEAN_OF_DAYS, *(BY_PROTOCOL + one for one in every), BY_HEIGHT, BY_BIAS,
             BY_TECHNIQUE)  # fmt: skip
    in_doubt = count_by(batch.group_of, batch.groups, doubtful) > 0
    applies, enough = _having_a_say(names, mean, in_doubt, own, minimum_met(averages, counted, list(every.values())))
    return Alternatives(names, mean, applies, enough)


def _having_a_say(
    names: Sequence[str], mean: Floats, in_doubt: Bools, own: Sequence[Protocol], met: Bools
) -> tuple[Bools, Bools]:
    """Return which alternatives apply to each group, and which of these say something; `met` has a row a protocol.

    Where some reading is doubtful, both that look beyond the doubt apply, even if no reading remains for them: the one by
    published errors then says that the category rests on nothing, the one without the doubtful says nothing.
    """
    applies = ~np.isnan(mean[0])
    enough = np.ones_like(applies)
    rows = slice(len(ALTERNATIVES) + 2, len(ALTERNATIVES) + 2 + len(met))
    mine = np.array([one.id for one in own])[:, None] == np.array([one.removeprefix(BY_PROTOCOL) for one in names[rows]])
    applies[rows] &= ~np.repeat(mine, len(SETTINGS), axis=0).T
    enough[rows] = met
    without = names.index(WITHOUT_DOUBTFUL)
    enough[without] = applies[without]
    applies[without] |= in_doubt
    applies[names.index(BY_TECHNIQUE)] = in_doubt
    return applies, enough


def minimum_met(averages: Averages, kept: Floats, protocols: Sequence[Protocol]) -> Bools:
    """Mark, for each protocol (a row), the groups with as many usable readings and days, and readings kept, as it asks for.

    As the facts home_enough_for_protocol and office_enough_for_protocol have it.
    """
    limits = np.array([[one.limits[name] for name in MINIMA] for one in protocols]).T[:, :, None]
    row = averages.row("all")
    met = np.zeros(kept.shape, dtype=np.bool_)
    for setting, (fewest_readings, fewest_days) in ((HOME, limits[:2]), (OFFICE, limits[2:4])):
        of = slice(setting, None, len(SETTINGS))
        met[:, of] = (averages.readings[row, of] >= fewest_readings) & (averages.days[row, of] >= fewest_days)
    met[:, HOME :: len(SETTINGS)] &= kept[:, HOME :: len(SETTINGS)] >= limits[4]
    enough: Bools = met & (kept > 0)
    return enough


def without_extreme_day(batch: Batch, kept: Bools, values: Floats) -> Bools:
    """Leave out each group's day that lies farthest from the mean of its days, of equals the first.

    How far is the larger of both pressures' distances in standard deviations of the days. Nothing is left where all
    readings are of one day.
    """
    day = batch.day_of[kept]
    readings = count_by(day, batch.days)
    used = np.flatnonzero(readings)
    owner = batch.group_of_day[used]
    count = count_by(owner, batch.groups)
    far = np.zeros(len(used))
    with np.errstate(invalid="ignore", divide="ignore"):
        for of_pressure in values[:, kept]:
            mean = sum_by(day, batch.days, of_pressure)[used] / readings[used]
            away = np.abs(mean - (sum_by(owner, batch.groups, mean) / count)[owner])
            spread = np.sqrt(sum_by(owner, batch.groups, away * away) / count)[owner]
            # Days that differ by rounding alone are equals.
            far = np.maximum(far, np.where(spread > 0, np.round(away / spread, 9), 0.0))
    order = np.lexsort((used, -far, owner))
    first = np.ones(len(order), dtype=np.bool_)
    first[1:] = np.diff(owner[order]) != 0
    dropped = np.zeros(batch.days, dtype=np.bool_)
    dropped[used[order[first]]] = True
    return kept & ~dropped[batch.day_of]


def _means(batch: Batch, masks: Sequence[Bools], values: Floats) -> tuple[Floats, Floats]:
    """Return the mean of each mask's readings in each group (axes: pressure, mask, group), and how many they are."""
    which, rows = np.nonzero(np.stack(masks))
    cell, size = which * batch.groups + batch.group_of[rows], len(masks) * batch.groups
    count = count_by(cell, size)
    with np.errstate(invalid="ignore", divide="ignore"):
        found = np.stack([sum_by(cell, size, one[rows]) / count for one in values])
    return found.reshape(PRESSURES, len(masks), batch.groups), count.reshape(len(masks), batch.groups)


def _shift(batch: Batch, kept: Bools, offset: Floats) -> Floats:
    """Return how much the kept readings' mean is too high for a known offset; NaN where none is known."""
    unknown = np.isnan(offset).all(axis=0)
    if unknown.all():
        return np.full((PRESSURES, batch.groups), np.nan)
    group, count = batch.group_of[kept], count_by(batch.group_of[kept], batch.groups)
    known = count_by(batch.group_of[kept & ~unknown], batch.groups) > 0
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.stack([sum_by(group, batch.groups, one) / count for one in np.nan_to_num(offset[:, kept])])
    return np.where(known, shift, np.nan)


def _by_protocols(batch: Batch, selection: Selection, protocols: Sequence[Protocol]) -> tuple[list[Bools], list[int]]:
    """Return the distinct selections that protocols make, and which of them is each protocol's."""
    kinds = [(tuple(one.limits[name] for name in AT_HOME), one.office_use) for one in protocols]
    distinct = list(dict.fromkeys(kinds))
    placed = selection.ranks
    at_home, in_office = (placed.usable & (batch.setting == one) for one in (HOME, OFFICE))
    homes = {home: at_home & _within(batch, placed, *home) for home in {home: None for home, _ in distinct}}
    offices = {use: in_office & used_in_office(batch, placed, use) for use in {use: None for _, use in distinct}}
    return [homes[home] | offices[use] for home, use in distinct], [distinct.index(one) for one in kinds]


def _within(batch: Batch, placed: UsableRanks, days: float, skipped: float, most: float) -> Bools:
    marked: Bools = (placed.rank >= skipped) & (placed.rank < skipped + most) & (batch.day_rank >= days)
    return marked


def offsets_of(batch: Batch, height: Floats, technique: Floats, checked: Ints, agreement: Agreement) -> Offsets:
    """Return each reading's offsets. `checked` is each device check's subject; checks of one device are pooled by pairs."""
    bias = np.full((PRESSURES, batch.size), np.nan)
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
    return Offsets(height, bias, technique)
