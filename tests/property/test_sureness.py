"""What holds of averages, spreads and probabilities whatever the readings."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.assessment import assess_requests
from heartlevel.conclusions.sureness import as_measured
from heartlevel.intake.request import read
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.statistics.sureness.more_days import days_ahead
from heartlevel.statistics.variability import variability
from heartlevel.vocabulary import SURENESSES
from support import answer, examples, reading, rules

FEW = settings(max_examples=examples(40), deadline=None)
SERIES = st.lists(st.tuples(st.integers(100, 160), st.integers(60, 100)), min_size=8, max_size=28)
ENOUGH = SERIES.filter(lambda one: len(one) >= 12)


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
@given(ENOUGH, st.integers(1, 20))
def test_a_higher_mean_never_makes_reaching_a_limit_less_probable(pressures, shift):
    lower, higher = (assessed(payload(pressures, by)).sureness.probabilities.of_limit[0] for by in (0, shift))
    assert lower
    assert all(higher[limit] >= chance - 1e-9 for limit, chance in lower.items())


@FEW
@given(ENOUGH)
def test_the_probabilities_of_all_categories_add_up_to_one(pressures):
    chances = assessed(payload(pressures)).sureness.probabilities.of_category[0]
    assert abs(sum(chances.values()) - 1) < 1e-9
    assert min(chances.values()) >= 0


@FEW
@given(ENOUGH)
def test_looking_further_ahead_never_asks_for_other_days(pressures):
    found = assessed(payload(pressures))
    category, usual = found.classified.category[found.averages.row("protocol"), :1], rules().ruleset.at_home.spread
    named = found.guidelines[0].categories["home"][category[0]].id
    chance = np.array([as_measured(found).of_category[0].get(named, np.nan)])
    near, far = (
        days_ahead(found.sureness.measured, category, chance, found.guidelines, np.array([float(most)]), usual)
        for most in (5, 40)
    )
    assert np.isnan(near.days[0]) or near.days[0] == far.days[0]
    chances = far.chances[:, 0]
    if category[0] != NO_CATEGORY:
        # The first days of a further week lessen the error before they move the mean: the chance may fall a little after.
        assert (np.diff(chances) >= -0.05).all()
        assert chances.min() >= 0
        assert chances.max() <= 1


RIGHT = {"rested_minutes": 5, "legs_crossed": False, "back_supported": True, "arm_supported": True,
         "arm_level": "heart", "talking": False, "cuff_mark_in_range": True, "full_bladder": False}  # fmt: skip
FAULTS = (
    {"rested_minutes": 1}, {"legs_crossed": True}, {"talking": True}, {"arm_supported": False}, {"full_bladder": True},
    {"back_supported": False}, {"arm_level": "below"}, {"arm_level": "above"}, {"cuff_mark_over_artery": False},
    {"minutes_since_caffeine": 5},
)  # fmt: skip


def certain(one: dict) -> tuple[float, int]:
    """Return how certain the category is, nothing told being nothing, and its word's place."""
    found = answer(one)["classification"]
    value = assessed(one).sureness.certainty[0]
    return (0.0 if np.isnan(value) else float(value)), SURENESSES.index(found.get("sureness", "cannot-be-told"))


# Certainty is that of the category of the measured mean: an error that points away from its nearer limit is not credited.
# Below one half another category is the more probable one, and what widens brings both nearer to each other.
@settings(max_examples=60, deadline=None)
@given(ENOUGH, st.lists(st.sampled_from(FAULTS), max_size=3, unique_by=str),
       st.sampled_from(FAULTS), st.booleans(), st.integers(-30, 30))  # fmt: skip
def test_one_more_technique_fault_never_raises_certainty(pressures, others, fault, bare, shift):
    def with_faults(*faults):
        technique = {} if bare else dict(RIGHT)
        for one in faults:
            technique |= one
        whole = payload(pressures, shift)
        return {**whole, "readings": [{**one, "technique": technique} for one in whole["readings"]]}

    before, word_before = certain(with_faults(*others))
    after, word_after = certain(with_faults(*others, fault))
    assert word_after <= word_before
    if max(before, after) > 0.5:
        assert after <= before + 1e-9


@settings(max_examples=60, deadline=None)
@given(ENOUGH, st.lists(st.integers(-20, 20), min_size=2, max_size=6), st.integers(-30, 30))
def test_what_a_check_finds_of_a_device_never_raises_certainty_above_a_device_that_is_right(pressures, differences, shift):
    def with_check(*checks, **device):
        whole = payload(pressures, shift)
        readings = [{**one, "technique": RIGHT, "device": "d-1"} for one in whole["readings"]]
        return {**whole, "readings": readings, "devices": [{"id": "d-1", **device}], "device_checks": list(checks)}

    pairs = [{"device": {"systolic": 130 + one, "diastolic": 80 + one}, "reference": {"systolic": 130, "diastolic": 80}}
             for one in differences]  # fmt: skip
    right, word_right = certain(with_check(checked_on="2026-02-20"))
    off, word_off = certain(with_check({"device": "d-1", "pairs": pairs}))
    unchecked, word_unchecked = certain(with_check())
    assert max(word_off, word_unchecked) <= word_right
    for less in (off, unchecked):
        assert max(less, right) <= 0.5 or less <= right + 1e-9


@FEW
@given(ENOUGH)
def test_certainty_is_at_most_the_probability_of_the_category(pressures):
    found, certainty = answer(payload(pressures))["classification"], assessed(payload(pressures)).sureness.certainty[0]
    if found["category"]:
        assert certainty <= found["category_probability"][found["category"]] + 5.1e-4
