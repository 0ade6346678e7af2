"""What holds of averages, spreads and probabilities whatever the readings."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from heartlevel.statistics.sureness.more_days import more_days
from heartlevel.statistics.variability import variability
from support import answer, examples, reading, rules

FEW = settings(max_examples=examples(40), deadline=None)
SERIES = st.lists(st.tuples(st.integers(100, 160), st.integers(60, 100)), min_size=8, max_size=28)


def payload(pressures, shift=0):
    readings = [
        reading(f"2026-03-{place // 4 + 1:02d}T{(7, 7, 20, 20)[place % 4]:02d}:0{place % 2}:00+01:00",
                systolic + shift, diastolic + shift)
        for place, (systolic, diastolic) in enumerate(pressures)
    ]  # fmt: skip
    return {"subject": {"id": "s", "age_years": 50}, "readings": readings}


def assessed(one):
    return assess_requests([read(one, rules().ruleset.choices)], rules())


@FEW
@given(SERIES, st.randoms(use_true_random=False))
def test_what_the_answer_says_of_its_sureness_never_depends_on_the_order_of_readings(pressures, random):
    one = payload(pressures)
    other = {**one, "readings": random.sample(one["readings"], len(one["readings"]))}
    first, second = answer(one), answer(other)
    for part in ("classification", "what_next", "variability", "pattern"):
        assert first[part] == second[part]


@FEW
@given(SERIES, st.integers(-20, 20))
def test_shifting_every_value_shifts_the_means_and_leaves_the_spreads(pressures, shift):
    before, after = assessed(payload(pressures)), assessed(payload(pressures, shift))
    np.testing.assert_allclose(after.averages.mean[:2], before.averages.mean[:2] + shift, atol=1e-9)
    np.testing.assert_allclose(after.averages.standard_error[:2], before.averages.standard_error[:2], atol=1e-9)
    np.testing.assert_allclose(after.alternatives.mean, before.alternatives.mean + shift, atol=1e-9)
    spreads = [
        variability(one.batch, one.batch.readings["systolic"], np.ones(one.batch.size, dtype=bool))
        for one in (before, after)
    ]
    for name in ("sd", "arv", "arv_weighted", "day_sd"):
        np.testing.assert_allclose(getattr(spreads[0], name), getattr(spreads[1], name), atol=1e-9)


@FEW
@given(SERIES.filter(lambda one: len(one) >= 12), st.integers(1, 20))
def test_a_higher_mean_never_makes_reaching_a_limit_less_probable(pressures, shift):
    lower, higher = (assessed(payload(pressures, by)).sureness.probabilities.of_limit[0] for by in (0, shift))
    assert lower
    assert all(higher[limit] >= chance - 1e-9 for limit, chance in lower.items())


@FEW
@given(SERIES.filter(lambda one: len(one) >= 12))
def test_the_probabilities_of_all_categories_add_up_to_one(pressures):
    chances = assessed(payload(pressures)).sureness.probabilities.of_category[0]
    assert abs(sum(chances.values()) - 1) < 1e-9
    assert min(chances.values()) >= 0


@FEW
@given(SERIES.filter(lambda one: len(one) >= 12))
def test_looking_further_ahead_never_asks_for_other_days(pressures):
    found = assessed(payload(pressures))
    category = found.classified.category[found.averages.row("protocol"), :1]
    near, far = (
        more_days(found.sureness.long_run, category, np.array([np.nan]), found.guidelines, np.array([float(most)]))
        for most in (5, 40)
    )
    assert np.isnan(near[0]) or near[0] == far[0]
