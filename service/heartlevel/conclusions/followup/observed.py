"""A check of the technique that staff watched: what was right, what to change first, and what changed since before."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.ruling.effects.habits import Habits, observed_habits
from heartlevel.ruling.language.rules import Rule
from heartlevel.vocabulary import PRESSURES


@dataclass(frozen=True, slots=True)
class TechniqueSeen:
    """What one day of observation shows; rules are those of technique faults that are habits."""

    day: int  # proleptic ordinal
    right: Sequence[Rule]
    amiss: Sequence[Rule]  # what to change, the largest likely effect first
    not_seen: Sequence[Rule]  # what nobody noted


@dataclass(frozen=True, slots=True)
class TechniqueCheck:
    """The latest observation, the one before, and whether it stands in for what nobody recorded at home."""

    latest: TechniqueSeen
    before: TechniqueSeen | None
    stands_in: bool


def habits_before(assessment: Assessment) -> Habits | None:
    """Return what each subject's observation before the latest showed; None where nobody was observed."""
    stand_in = assessment.stand_in
    if stand_in is None:
        return None
    return observed_habits(assessment.batch, assessment.verdicts["reading"], before=stand_in.habits.day)


def technique_check(assessment: Assessment, earlier: Habits | None, subject: int) -> TechniqueCheck | None:
    """Return what was seen of a subject's technique; None for who was not observed. `earlier` is `habits_before`."""
    stand_in = assessment.stand_in
    if stand_in is None or np.isnan(stand_in.habits.day[subject]):
        return None
    latest = _seen(stand_in.habits, subject)
    known = earlier is not None and not np.isnan(earlier.day[subject])
    before = _seen(earlier, subject) if earlier is not None and known else None
    return TechniqueCheck(latest, before, bool(stand_in.near[subject]) and bool(latest.right or latest.amiss))


def _seen(habits: Habits, subject: int) -> TechniqueSeen:
    shares = {rule.id: float(habits.seen[rule.id][subject]) for rule in habits.rules}
    amiss = [rule for rule in habits.rules if shares[rule.id] > 0]
    return TechniqueSeen(
        day=int(habits.day[subject]),
        right=[rule for rule in habits.rules if shares[rule.id] == 0],
        amiss=sorted(amiss, key=lambda rule: (-shares[rule.id] * likely_effect(rule), rule.id)),
        not_seen=[rule for rule in habits.rules if np.isnan(shares[rule.id])],
    )


def likely_effect(rule: Rule) -> float:
    """Return the larger of the geometric middles of a fault's published ranges, mm[Hg]: it only orders advice."""
    return max(_middles(rule), default=0.0)


def _middles(rule: Rule) -> Iterator[float]:
    for pressure in PRESSURES:
        shift = rule.expected_error.get(pressure)
        if shift is not None and shift.bounds is not None:
            low, high = (abs(bound) for bound in shift.bounds)
            yield sqrt(low * high) if low and high else (low + high) / 2
