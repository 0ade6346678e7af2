"""Errors that all readings of an average share, and that no number of days averages out: known ones, and usual ones."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from heartlevel.columns import Bools, Columns, Floats, Ints, among, count_by, sum_by
from heartlevel.intake.batch import Batch
from heartlevel.profiles import UsualErrors
from heartlevel.ruling.effects.habits import StandIn
from heartlevel.ruling.effects.known_errors import DOUBTFUL
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.running.truth import TRUE, UNKNOWN
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.statistics.alternatives import Offsets
from heartlevel.statistics.averages import counts_by
from heartlevel.statistics.selection import KEPT, Selection
from heartlevel.statistics.technique import (
    Excess,
    Faults,
    excess_of,
    known_excess,
    share_together,
    usual_excess,
)
from heartlevel.vocabulary import PRESSURES, SETTINGS, TAKEN_BY

TRAINED = [TAKEN_BY.index(name) for name in ("staff", "unattended")]
UNRECORDED, UNCHECKED, CHECKED = "unrecorded-technique", "unchecked-device", "device-check"
Firing: TypeAlias = Sequence[tuple[Rule, Bools]]  # rules that fire for averaged readings, with these marked
DEVICE_CHECK = "device_check"  # what to ask for, beside the facts of readings


@dataclass(frozen=True, slots=True)
class SharedErrors:
    """What makes averages by protocol too high or too low, a column a group; 0 where no reading is averaged."""

    parts: Mapping[str, Excess]  # by rule, or by one of the codes above
    in_all: Excess
    too_high: Excess  # of those that may read high: what speaks against an average being as high as it is
    too_low: Excess  # of those that may read low
    unsized: Mapping[str, Floats]  # by rule of which no size is published, the share of the averaged readings
    share_unsized: Floats  # the share with any of these
    wanting: Mapping[str, Floats]  # by what could be asked for, the mean square error for want of it, mm[Hg]²


@dataclass(frozen=True, slots=True)
class _Averaged:
    """The readings averaged by protocol, and their groups."""

    rows: Ints
    group: Ints
    size: int
    count: Floats  # a value a group, at least 1

    def share(self, marked: Bools | Floats) -> Floats:
        """Return the mean of a value of each averaged reading, by group."""
        return sum_by(self.group, self.size, np.asarray(marked, dtype=np.float64)) / self.count

    def shares(self, marked: Bools) -> Floats:
        """Return the shares of averaged readings that are marked, by group, for several marks at once: a row each."""
        return counts_by(marked, self.group, self.size) / self.count


def shared_errors(
    batch: Batch, selection: Selection, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]],
    offsets: Offsets, usual: Mapping[int, UsualErrors], stand_in: StandIn | None,
) -> SharedErrors:  # fmt: skip
    """Return the errors of each group's average by protocol. `usual` says what is usual, by setting.

    Where a person was observed, their own habits stand in for what nobody recorded, instead of other people's.
    """
    rows = np.flatnonzero(selection.left_out == KEPT)
    group, size = batch.group_of[rows], batch.groups
    averaged = _Averaged(rows, group, size, np.maximum(count_by(group, size), 1))
    trained = among(batch.readings["taken_by"][rows], TRAINED)
    rules, faults = _faults(averaged, batch, verdicts, trained)
    together, width = (_by_group(usual, name, size) for name in ("technique", "share_width"))
    together = share_together(faults, together)
    known = known_excess(faults, together)
    unrecorded = usual_excess(replace(faults, usual=stand_in.usual_shares(rules)) if stand_in else faults, together)
    firing = list(_firing(averaged, batch, verdicts))
    amounts = dict(_amounts(averaged, batch, firing, facts))
    devices = _devices(averaged, batch, offsets, trained, _by_group(usual, "device", size))
    fixed = [*amounts.values(), *devices.values()]  # with a direction of their own in each average, or either
    common = _common(unrecorded, width)

    def in_all(chosen: Bools) -> Excess:
        of_usual = common if chosen.all() else _common(unrecorded[chosen], width)
        return sum(fixed, known[chosen].added() + of_usual)

    unsized, any_unsized = _unsized(averaged, firing)
    present = np.any(faults.present, axis=1).nonzero()[0].tolist()
    squares = zip(rules, _square(unrecorded), strict=True)
    wanting = {_item(rule): square for rule, square in squares if rule.usual_share}
    return SharedErrors(
        parts={rules[row].id: known[row] for row in present} | amounts | {UNRECORDED: common} | devices,
        in_all=in_all(np.ones(len(rules), dtype=np.bool_)),
        too_high=in_all(faults.reads_high),
        too_low=in_all(faults.reads_low),
        unsized=unsized,
        share_unsized=any_unsized,
        wanting=wanting | {DEVICE_CHECK: _square(devices[UNCHECKED])},
    )


def _by_group(usual: Mapping[int, UsualErrors], name: str, size: int) -> Floats:
    """Return a figure of what is usual for each group, a row a pressure; 0 for settings of which nothing is said."""
    figures = np.zeros((len(PRESSURES), size))
    for setting, errors in usual.items():
        figures[:, setting :: len(SETTINGS)] = np.reshape(getattr(errors, name), (-1, 1))
    return figures


def _square(part: Excess) -> Floats:
    square: Floats = (part.mean**2 + part.variance).sum(axis=-2)
    return square


def _common(parts: Excess, share_width: Floats) -> Excess:
    """Return the errors nobody recorded, together, with the width that the shares of all faults have in common."""
    whole = parts.added()
    common = whole.mean * share_width
    return Excess(whole.high, whole.low, whole.variance + common**2, whole.covariance + common[0] * common[1])


def _faults(
    averaged: _Averaged, batch: Batch, verdicts: Mapping[str, Verdicts], trained: Bools
) -> tuple[list[Rule], Faults]:
    """Return the rules about faults of published size, and each fault's part in every average.

    Those that make readings doubtful count where they fire; those with a `usual_share` count by it where they are
    unknown, but not in readings that a trained person, or nobody, attended to.
    """
    rules, outcomes = list[Rule](), []
    for scope, row_of in (("reading", averaged.rows), ("sitting", batch.sitting_of[averaged.rows])):
        firing = {row for row, rule, _ in verdicts[scope].firing if rule.effect == DOUBTFUL and rule.expected_error}
        chosen = [row for row, rule in enumerate(verdicts[scope].rules) if rule.usual_share or row in firing]
        rules += (verdicts[scope].rules[row] for row in chosen)
        outcomes.append(verdicts[scope].outcomes[chosen][:, row_of])
    outcome = np.concatenate(outcomes)
    low, high = np.array([_range(rule) for rule in rules]).reshape(-1, 2, len(PRESSURES)).transpose(1, 0, 2)
    usual = np.array([rule.usual_share for rule in rules], dtype=np.float64)[:, None]
    present, unrecorded = (averaged.shares(marked) for marked in (outcome == TRUE, (outcome == UNKNOWN) & ~trained))
    return rules, Faults(low, high, usual, present, unrecorded)


def _firing(averaged: _Averaged, batch: Batch, verdicts: Mapping[str, Verdicts]) -> Iterator[tuple[Rule, Bools]]:
    """Yield the rules of readings and sittings that fire for averaged readings, with these marked."""
    for scope, row_of in (("reading", averaged.rows), ("sitting", batch.sitting_of[averaged.rows])):
        for _, rule, fired in verdicts[scope].firing:
            if (at_fault := fired[row_of]).any():
                yield rule, at_fault


def _range(rule: Rule) -> tuple[list[float], list[float]]:
    """Return the least and the most that a reading is too high by, each by pressure; 0 where no range is published."""
    ends = [0.0] * len(PRESSURES), [0.0] * len(PRESSURES)
    for pressure, shift in rule.expected_error.items():
        if shift.bounds is not None:
            low, high = shift.bounds
            at = PRESSURES.index(pressure)
            ends[0][at], ends[1][at] = (-high, -low) if shift.reads == "low" else (low, high)
    return ends


def _amounts(
    averaged: _Averaged, batch: Batch, firing: Firing, facts: Mapping[str, Columns[Any]]
) -> Iterator[tuple[str, Excess]]:
    """Yield the faults whose size is a fact of the reading, such as the height of the arm: by that, without a width."""
    for rule, at_fault in firing:
        amounts = {pressure: shift.amount for pressure, shift in rule.expected_error.items() if shift.amount}
        if amounts:
            mean = np.zeros((len(PRESSURES), averaged.size))
            for pressure, amount in amounts.items():
                column = facts[rule.scope][amount]
                by_reading = column[batch.sitting_of] if rule.scope == "sitting" else column
                mean[PRESSURES.index(pressure)] = averaged.share(np.where(at_fault, by_reading[averaged.rows], 0.0))
            yield rule.id, excess_of(mean, np.zeros_like(mean))


def _devices(averaged: _Averaged, batch: Batch, offsets: Offsets, trained: Bools, usual: Floats) -> dict[str, Excess]:
    """Return the errors of devices: by their own check, with its width, and by what is usual of those nobody checked.

    A device with a date of its check is taken as right; in a trained person's hands it is not the patient's.
    """
    bias, width = offsets.bias[:, averaged.rows], offsets.bias_error[:, averaged.rows]
    checked = ~np.isnan(bias[0])
    unknown = averaged.share(~(checked | trained) & np.isnan(batch.readings["device_checked_on"][averaged.rows]))
    parts = {UNCHECKED: excess_of(np.zeros_like(usual), usual * unknown)}
    if not checked.any():
        return parts
    width = np.where(np.isnan(width), usual[:, averaged.group], width)
    known = [np.array([averaged.share(np.where(checked, row, 0.0)) for row in rows]) for rows in (bias, width)]
    return parts | {CHECKED: excess_of(*known)}


def _unsized(averaged: _Averaged, firing: Firing) -> tuple[dict[str, Floats], Floats]:
    """Return the faults that are there and of which no size is published: by rule the share of readings, and of any."""
    shares, any_of_them = {}, np.zeros(len(averaged.rows), dtype=np.bool_)
    for rule, at_fault in firing:
        if rule.effect == DOUBTFUL and not rule.expected_error:
            shares[rule.id] = averaged.share(at_fault)
            any_of_them |= at_fault
    return shares, averaged.share(any_of_them)


def _item(rule: Rule) -> str:
    """Return the fact to ask for where a rule about a fault is unknown: the first that it compares."""
    return next(leaf.fact.name for leaf in rule.leaves if isinstance(leaf, Term) and leaf.fact.asked)
