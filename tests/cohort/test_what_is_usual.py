"""What usual errors and a known population buy, on a small cohort with bounds as in test_cohort."""

from functools import cache

import numpy as np
import pytest

from cohort import measures
from cohort.judging import Judged, home_limit, judge, population_of
from cohort.page import surest
from cohort.simulation import Cohort, Scenario, simulate

SUBJECTS, SEED = 400, 7
GUIDELINES = ("acc-aha-2025", "esh-2023")
both = pytest.mark.parametrize("guideline", GUIDELINES)


@cache
def judged(guideline: str, errors: bool, known: bool = False) -> tuple[Cohort, Judged]:
    cohort = simulate(SUBJECTS, SEED, Scenario(errors=errors))
    return cohort, judge(cohort, guideline, population_of(cohort) if known else None)


@both
def test_of_the_surest_four_fifths_fewer_are_wrong_at_the_limit_with_usual_errors(guideline):
    cohort, said = judged(guideline, errors=True)
    limit = home_limit(guideline)
    truth, plain = (measures.raised(one, limit) for one in (cohort.home_truth, measures.plain_mean(cohort)))

    known = ~np.isnan(said.one_probability)  # of a fault of no published size there is none

    def wrong(chance: np.ndarray) -> float:
        sure = surest(np.where(plain, chance, 1 - chance)[known])
        return float((plain != truth)[known][sure].mean())

    # Some 0.11 against 0.17 by the days alone and 0.24 of all; a binomial error of 210 people is 0.022.
    assert wrong(said.one_probability) < min(0.85 * wrong(said.probability), 0.6 * float((plain != truth)[known].mean()))


@both
def test_with_usual_errors_probabilities_are_nearer_the_truth_where_errors_were_made(guideline):
    cohort, said = judged(guideline, errors=True)
    truth = measures.raised(cohort.home_truth, home_limit(guideline))
    known = ~np.isnan(said.one_probability)
    assert known.mean() > 0.5
    assert measures.brier(said.one_probability, truth) < 0.75 * measures.brier(said.probability[known], truth[known])


@both
def test_a_known_population_makes_the_share_said_to_be_raised_nearer_the_true_one(guideline):
    truth = measures.raised(judged(guideline, False)[0].home_truth, home_limit(guideline)).mean()
    plain, known = (judged(guideline, False, known)[1].probability.mean() for known in (False, True))
    assert abs(known - truth) < abs(plain - truth)
