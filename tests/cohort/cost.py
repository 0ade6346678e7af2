"""What saying how sure an answer is costs: the time of whole answers with and without it, in turn in one process."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from statistics import median
from time import process_time
from unittest.mock import patch

import numpy as np

from cohort.judging import requests
from cohort.simulation import Scenario, simulate
from heartlevel import assessment
from heartlevel.answer.whole import answers, as_json
from heartlevel.assessment import assess_requests
from heartlevel.conclusions import coverage, next_steps, pattern
from heartlevel.statistics import classification
from heartlevel.statistics.alternatives import WITHOUT_DOUBTFUL, Alternatives, Offsets
from heartlevel.statistics.sureness.more_days import AHEAD, DaysAhead
from support import rules

PEOPLE, ROUNDS, SINGLE_ROUNDS = 1000, 5, 200


@dataclass(frozen=True)
class Ratio:
    """Seconds of processor time, medians."""

    what: str
    whole: float
    without: float

    @property
    def ratio(self) -> float:
        return self.whole / self.without


def ratios() -> list[Ratio]:
    """Measure a batch of people, and one request alone, both with technique errors."""
    people = requests(simulate(PEOPLE, 1, Scenario(errors=True)), "acc-aha-2025")
    return [measured(f"{PEOPLE} people together", people, ROUNDS), measured("one request", people[:1], SINGLE_ROUNDS)]


def measured(what: str, several: list, rounds: int) -> Ratio:
    times: dict[bool, list[float]] = {True: [], False: []}
    for _ in range(rounds + 1):
        times[True].append(timed(several))
        with without_sureness():
            times[False].append(timed(several))
    whole, without = (median(of[1:]) for of in times.values())  # the first of each warms
    return Ratio(what, whole, without)


def timed(several: list) -> float:
    start = process_time()
    for answer in answers(assess_requests(several, rules())):
        as_json(answer)
    return process_time() - start


@contextmanager
def without_sureness() -> Iterator[None]:
    """Leave out intervals, probabilities, alternatives and what lies ahead; all else is computed and written."""
    with ExitStack() as stack:
        for module, name, instead in (
            (assessment, "alternatives", no_alternatives),
            (assessment, "known_errors", lambda *_: np.zeros(0)),
            (assessment, "offsets_of", no_offsets),
            (classification, "_probabilities", lambda *_: iter(())),
            (coverage, "interval95", lambda centre, *_: (np.full_like(centre, np.nan),) * 2),
            (pattern, "interval95", lambda centre, *_: (np.full_like(centre, np.nan),) * 2),
            (pattern, "pattern_chances", lambda _, guidelines, *__: [[] for _ in guidelines]),
            (next_steps, "days_ahead", no_days_ahead),
        ):
            stack.enter_context(patch.object(module, name, instead))
        yield


def no_offsets(batch, *_) -> Offsets:
    unknown = np.full((2, batch.size), np.nan)
    return Offsets(unknown[0], unknown, unknown, unknown)


def no_days_ahead(_, category, *__) -> DaysAhead:
    unknown = np.full(category.shape, np.nan)
    return DaysAhead(unknown, unknown, np.stack([unknown] * len(AHEAD)))


def no_alternatives(batch, *_) -> Alternatives:
    none = np.zeros((1, batch.groups), dtype=bool)
    return Alternatives((WITHOUT_DOUBTFUL,), np.full((2, 1, batch.groups), np.nan), none, none)
