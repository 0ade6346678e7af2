"""Findings: one a rule and subject, of an urgent rule one an episode, of a device's fault one a device, in order of weight.

What it concerns is put together: the facts told are those of the worst row, beside the range of all.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Floats, Ints, run_starts
from heartlevel.conclusions.firings import Firing
from heartlevel.conclusions.numbers import all_rounded
from heartlevel.conclusions.urgency.episodes import Urgency
from heartlevel.conclusions.urgency.following import Episode
from heartlevel.conclusions.urgency.levels import HISTORY, NONE
from heartlevel.conclusions.worst import badness
from heartlevel.facts.catalogue import Fact
from heartlevel.intake.batch import Batch
from heartlevel.ruling.language.rules import Rule
from heartlevel.vocabulary import SCOPES, SEVERITIES

FACT_DECIMALS = 3


@dataclass(slots=True)
class Finding:
    """A rule that fired for a subject, with all rows of its scope that belong together."""

    rule: Rule
    facts: dict[str, Any]  # of the worst row, as told: decoded, numbers rounded
    ranges: dict[str, list[float]]  # lowest and highest of the numbers that its explanation shows, where they differ
    rows: list[int]  # of the rule's scope
    worst: int  # the row that the facts are of
    readings: list[int]  # rows of readings concerned
    days: int  # on which these were taken
    episode: Episode | None  # of an urgent rule
    name: str = ""

    @property
    def urgent(self) -> bool:
        """Whether it asks for help: what is long past, or has no cause for it, does not."""
        return self.rule.urgent and self.level < HISTORY

    @property
    def level(self) -> int:
        """How urgent it is, its number in URGENCY_LEVELS."""
        return NONE if self.episode is None else self.episode.level

    @property
    def count(self) -> int:
        """How many readings it concerns; of a series or a device, how many such."""
        return len(self.readings or self.rows)

    def rows_of_readings(self, batch: Batch) -> list[int] | Ints:
        """Return the row of the rule's scope that each reading concerned belongs to."""
        return self.readings if self.rule.scope == "reading" else batch.sitting_of[self.readings]

    @property
    def order(self) -> tuple[Any, ...]:
        """Urgent first, the more urgent before others, then by severity, scope, rule and first row."""
        severity, scope = SEVERITIES.index(self.rule.severity), SCOPES.index(self.rule.scope)
        return not self.urgent, self.level if self.urgent else 0, severity, scope, self.rule.id, self.rows[0]


def findings_of(assessment: Assessment, firings: Sequence[Firing], urgency: Urgency) -> list[list[Finding]]:
    """Return each subject's findings, in order and named f-1, f-2 and so on."""
    by_subject: list[list[Finding]] = [[] for _ in assessment.batch.requests]
    of_sittings = any(firing.rule.scope == "sitting" for firing in firings)
    by_sitting = _by_sitting(assessment.batch) if of_sittings else []
    day_of = assessment.batch.day.tolist()
    numbers = {firing.rule.id: number for number, firing in enumerate(urgency.firings)}
    for firing in firings:
        ranks: dict[int, dict[int, int]] = {}  # by subject
        for subject, finding in _put_together(assessment, firing, by_sitting, day_of):
            if firing.rule.urgent:
                own, number = urgency.episodes[subject], numbers[firing.rule.id]
                if subject not in ranks:
                    ranks[subject] = _ranks(own, number)
                finding.episode = _episode_of(own, number, ranks[subject], finding.readings)
            by_subject[subject].append(finding)
    return [_named(sorted(findings, key=lambda finding: finding.order)) for findings in by_subject]


def _put_together(
    assessment: Assessment, firing: Firing, by_sitting: Sequence[list[int]], day_of: Sequence[int]
) -> Iterator[tuple[int, Finding]]:
    """Yield the findings of a firing, each with its subject; `day_of` is each reading's day."""
    rule, columns = firing.rule, assessment.facts[firing.rule.scope]
    apart = _apart(assessment, firing, by_sitting)
    order = np.lexsort((firing.rows, apart, firing.subjects))
    rows, subjects = firing.rows[order], firing.subjects[order]
    starts = np.flatnonzero(run_starts(subjects, apart[order]))
    worst = _worst_rows(assessment, rule, rows, subjects, starts)
    catalogue = assessment.rules.facts
    facts = [_told(catalogue[name], columns[name][worst]) for name in rule.shown_facts]
    ranges = list(_ranges(rule, catalogue, columns, rows, starts))
    every, ends = rows.tolist(), [*starts[1:].tolist(), len(rows)]
    groups = zip(subjects[starts].tolist(), worst.tolist(), starts.tolist(), ends, strict=True)
    for at, (subject, worst_row, start, end) in enumerate(groups):
        own = every[start:end]
        readings = _readings_of(rule.scope, own, by_sitting)
        told = {name: column[at] for name, column in zip(rule.shown_facts, facts, strict=True)}
        between = {name: [low, high] for name, lows, highs in ranges
                   if (low := lows[at]) != (high := highs[at]) and low is not None}  # fmt: skip
        days = len({day_of[row] for row in readings})
        yield subject, Finding(rule, told, between, own, worst_row, readings, days, None)


def _readings_of(scope: str, rows: list[int], by_sitting: Sequence[list[int]]) -> list[int]:
    if scope == "reading":
        return rows
    return [row for sitting in rows for row in by_sitting[sitting]] if scope == "sitting" else []


def _apart(assessment: Assessment, firing: Firing, by_sitting: Sequence[list[int]]) -> Floats:
    """Return what keeps rows of one subject apart: the day of urgent ones, the device of a fault of devices."""
    rule, rows, batch = firing.rule, firing.rows, assessment.batch
    if rule.scope == "device":
        names = [str(batch.checks[row]["device"]) for row in rows.tolist()]
        number = {name: at for at, name in enumerate(dict.fromkeys(names))}
        return np.array([number[name] for name in names], dtype=np.float64)
    if rule.urgent and rule.scope == "reading":
        return batch.day[rows].astype(np.float64)
    if rule.urgent and rule.scope == "sitting":
        return batch.day[[by_sitting[row][0] for row in rows.tolist()]].astype(np.float64)
    if rule.by_device and rule.scope == "reading":
        return np.nan_to_num(batch.readings["device_number"][rows], nan=-1.0)
    return np.zeros(len(rows))


def _worst_rows(assessment: Assessment, rule: Rule, rows: Ints, subjects: Ints, starts: Ints) -> Ints:
    """Return the worst row of each group, the first of those that are alike; groups begin at `starts`."""
    if len(starts) == len(rows):
        return rows
    score = badness(assessment, rule, rows, subjects)
    group = np.repeat(np.arange(len(starts)), np.diff([*starts, len(rows)]))
    order = np.lexsort((rows, -score, group))
    worst: Ints = rows[order][starts]
    return worst


def _ranges(
    rule: Rule, catalogue: Mapping[str, Fact], columns: Any, rows: Ints, starts: Ints
) -> Iterator[tuple[str, list[Any], list[Any]]]:
    """Yield each number that the explanation shows, with the lowest and the highest of each group."""
    if len(starts) == len(rows):
        return
    for name in dict.fromkeys(rule.explanation.facts()):
        if catalogue[name].kind == "number":
            values = columns[name][rows]
            ends = (np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts))
            low, high = (_told(catalogue[name], end) for end in ends)
            yield name, low, high


def _episode_of(episodes: Sequence[Episode], number: int, ranks: Mapping[int, int], readings: list[int]) -> Episode | None:
    """Return the most urgent episode that an urgent firing and its readings take part in; `ranks` are of `_ranks`."""
    if not readings:
        return next((episode for episode in episodes if number in episode.firings), None)
    rank = min((ranks[row] for row in readings if row in ranks), default=None)
    return None if rank is None else episodes[rank]


def _ranks(episodes: Sequence[Episode], number: int) -> dict[int, int]:
    """Return the place of the most urgent episode that a firing and a reading take part in, by the reading's row."""
    ranks: dict[int, int] = {}
    for rank, episode in enumerate(episodes):
        for row in episode.rows if number in episode.firings else ():
            ranks.setdefault(row, rank)
    return ranks


def _named(findings: list[Finding]) -> list[Finding]:
    for number, finding in enumerate(findings, start=1):
        finding.name = f"f-{number}"
    return findings


def _by_sitting(batch: Batch) -> list[list[int]]:
    readings: list[list[int]] = [[] for _ in range(batch.sittings)]
    for row, sitting in enumerate(batch.sitting_of.tolist()):
        readings[sitting].append(row)
    return readings


def _told(fact: Fact, values: Floats) -> list[Any]:
    if fact.kind == "number":
        told: list[Any] = all_rounded(values, FACT_DECIMALS)
        return told
    return [fact.decoded(value) for value in values.tolist()]
