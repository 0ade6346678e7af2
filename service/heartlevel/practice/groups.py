"""Readings by who took them, where, with which device: what each group measured, and how it differs from the others."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.practice.differences import MeanDifference, difference_of_groups, difference_within
from heartlevel.practice.folder import Folder, Texts, marked, summed
from heartlevel.vocabulary import PRESSURES

OFFICE, HOME, ANYWHERE = KINDS_OF_ROOM = ("office", "home", "anywhere")
SETTINGS_OF: Mapping[str, tuple[str, ...]] = {OFFICE: ("office", "office-unattended"), HOME: ("home",)}
BY_SETTING, BY_ROOM = ("setting",), ("taken_by", "device", "site")
# Of each person and group: readings, those in doubt, those set aside, systolic pressures that end in 0, and then of those
# not set aside the number and the sums of both pressures.
READINGS, IN_DOUBT, SET_ASIDE, END_IN_ZERO, USABLE, SUMS = range(6)


@dataclass(frozen=True, slots=True)
class Grouping:
    """What readings are parted by, and among which."""

    column: str
    room: str  # one of KINDS_OF_ROOM


@dataclass(frozen=True, slots=True)
class PeopleOfGroup:
    """What was measured in one group."""

    name: str
    numbers: Ints  # whose readings
    figures: Floats  # a row a figure, a column a person, as above

    @property
    def people(self) -> int:
        """How many people were measured."""
        return len(self.numbers)

    def share(self, figure: int) -> float:
        """Return what part of the readings is counted by a figure."""
        return float(self.figures[figure].sum() / self.figures[READINGS].sum())

    def sums(self, people: int) -> Floats:
        """Return of everybody the number of usable readings and the sums of their pressures, 0 for who is not in it."""
        spread = np.zeros((1 + len(PRESSURES), people))
        spread[:, self.numbers] = self.figures[USABLE:]
        return spread


@dataclass(frozen=True, slots=True)
class GroupDifference:
    """A group against the others that are told: both pressures, over all people and within those who are in both."""

    group: str
    all_people: Sequence[MeanDifference]
    people_in_both: int
    within: Sequence[MeanDifference] | None  # None where too few people are in both


@dataclass(frozen=True, slots=True)
class ComparedGroups:
    """The groups of a grouping that are told, the largest first, and how each differs from the others."""

    grouping: Grouping
    groups: Sequence[PeopleOfGroup]
    withheld: int  # groups of too few people
    differences: Sequence[GroupDifference]


def compared_groups(folder: Folder, smallest: int) -> list[ComparedGroups]:
    """Compare the groups of at least `smallest` people, in every grouping that has several."""
    return [
        ComparedGroups(grouping, groups, withheld, list(_differences(groups, len(folder.people), smallest)))
        for grouping, groups, withheld in _all_groups(folder, smallest)
        if len(groups) > 1
    ]


def device_people(folder: Folder) -> dict[str, int]:
    """Return how many people each device measured, by its name."""
    pairs, names, size = [np.zeros(0, dtype=np.int64)], list[str](), len(folder.people)
    for rows in folder.batches("readings"):
        device, names = rows["device"], list(rows["device"].names)
        there = device.codes >= 0
        pairs.append(np.unique(device.codes[there] * size + rows["subject"][there]))
    counts = np.bincount(np.unique(np.concatenate(pairs)) // size, minlength=len(names)).tolist() if size else []
    return dict(zip(names, counts, strict=True))


def _all_groups(folder: Folder, smallest: int) -> Iterator[tuple[Grouping, list[PeopleOfGroup], int]]:
    """Yield each grouping with its groups of people enough, and the number of the others."""
    rooms = [Grouping(column, room) for room in (OFFICE, HOME) for column in (*folder.own_choices, *BY_ROOM)]
    groupings = [*rooms, *(Grouping(column, ANYWHERE) for column in BY_SETTING)]
    size, own = len(folder.people), folder.own_choices
    keys: dict[Grouping, list[Ints]] = {grouping: [] for grouping in groupings}
    sums: dict[Grouping, list[Floats]] = {grouping: [] for grouping in groupings}
    names = dict[str, Sequence[str]]()
    for rows in folder.batches("readings", own):
        figures = _figures(rows)
        names |= {name: column.names for name, column in rows.items() if isinstance(column, Texts)}
        for grouping in groupings:
            codes = rows[grouping.column].codes
            there = (codes >= 0) & _in_room(rows["setting"], grouping.room)
            key, total = summed([codes[there] * size + rows["subject"][there]], [figures[:, there]])
            keys[grouping].append(key)
            sums[grouping].append(total)
    for grouping in groupings:
        cells = summed(keys.pop(grouping), sums.pop(grouping))
        yield grouping, *_groups(*cells, size, names.get(grouping.column, ()), smallest)


def _figures(rows: Mapping[str, Any]) -> Floats:
    aside = marked(rows["reliability"], "unusable")
    figures = (np.ones(len(aside)), marked(rows["reliability"], "doubtful"), aside, rows["systolic"] % 10 == 0, ~aside)
    pressures = [np.where(aside, 0.0, rows[name]) for name in PRESSURES]
    return np.array([*figures, *pressures], dtype=np.float64)


def _in_room(setting: Texts, room: str) -> Bools:
    whole = np.ones(len(setting.codes), dtype=np.bool_)
    if room == ANYWHERE:
        return whole
    inside: Bools = np.any([marked(setting, name) for name in SETTINGS_OF[room]], axis=0)
    return inside


def _groups(keys: Ints, figures: Floats, size: int, names: Sequence[str], smallest: int) -> tuple[list[PeopleOfGroup], int]:
    """Return the groups of people enough, the largest first, and how many others there are; `keys` are sorted."""
    numbers, starts, counts = np.unique(keys // max(size, 1), return_index=True, return_counts=True)
    enough = np.flatnonzero(counts >= smallest).tolist()
    groups = [
        PeopleOfGroup(names[numbers[at]], keys[cells] % size, figures[:, cells])
        for at in enough
        for cells in [slice(starts[at], starts[at] + counts[at])]
    ]
    return sorted(groups, key=lambda group: (-group.people, group.name)), len(numbers) - len(groups)


def _differences(groups: Sequence[PeopleOfGroup], people: int, smallest: int) -> Iterator[GroupDifference]:
    """Yield how each group differs from all others together; of two groups that is told once."""
    sums = [group.sums(people) for group in groups]
    whole = np.sum(sums, axis=0)
    for group, own in list(zip(groups, sums, strict=True))[: 1 if len(groups) == 2 else None]:
        mine, others = _means(own), _means(whole - own)
        in_both = int((~np.isnan(mine[0]) & ~np.isnan(others[0])).sum())
        yield GroupDifference(
            group.name,
            [difference_of_groups(*both) for both in zip(mine, others, strict=True)],
            in_both,
            [difference_within(*both) for both in zip(mine, others, strict=True)] if in_both >= smallest else None,
        )


def _means(sums: Floats) -> Floats:
    """Return each person's mean of both pressures; NaN for who has no usable reading."""
    with np.errstate(invalid="ignore", divide="ignore"):
        means: Floats = np.where(sums[0] > 0, sums[1:] / sums[0], np.nan)
    return means
