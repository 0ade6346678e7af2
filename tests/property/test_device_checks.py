"""What must hold of any device check."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.one_call import device_answer_to
from heartlevel.statistics.agreement import agreement
from heartlevel.statistics.comparisons import comparisons_of
from support import examples, rules

FEW = settings(max_examples=examples(40), deadline=None)
FEWEST = rules().ruleset.protocols["aha-ama-2020"].limits["protocol.device_check.minimum_pairs"]
FIVE = np.array([5.0])
PRESSURES = ("systolic", "diastolic")
TAKEN = st.fixed_dictionaries({"systolic": st.integers(80, 220), "diastolic": st.floats(40, 130)})


def checks(most=12):
    one = {"device": TAKEN, "reference": TAKEN}
    pair = st.fixed_dictionaries(one, optional={"occasion": st.sampled_from(["a", "b", "c"])})
    truth = {"true_pressure": st.sampled_from(["constant", "changing"])}
    return st.fixed_dictionaries(
        {"device": st.just("d"), "pairs": st.lists(pair, min_size=1, max_size=most)}, optional=truth
    )


def answered(*some, **options):
    return device_answer_to({"device_checks": list(some), "options": options}, rules())


def close(one, other):
    """Compare figures as they are shown: one rounding step apart at most."""
    return np.allclose(np.array(one, dtype=float), np.array(other, dtype=float), atol=0.1001, equal_nan=True)


def ends(interval):
    return interval or [None, None]


@FEW
@given(checks(), st.randoms())
def test_the_order_of_pairs_does_not_matter(check, chance):
    shuffled = {**check, "pairs": chance.sample(check["pairs"], len(check["pairs"]))}
    assert answered(shuffled) == answered(check)
    # Not to the last digit either, which the answer would round away.
    ours, theirs = (agreement(comparisons_of([one]), FIVE, FIVE) for one in (check, shuffled))
    assert np.array_equal(ours.sd, theirs.sd, equal_nan=True) and np.array_equal(ours.bias, theirs.bias)


def test_sums_do_not_depend_on_the_order_sent():
    values = [0.1, 0.2, 0.3]  # 0.6 from behind, a little more from before
    read = [{"systolic": one, "diastolic": one} for one in values]
    pairs = [{"device": one, "reference": {"systolic": 0, "diastolic": 0}} for one in read]
    ours, theirs = (agreement(comparisons_of([{"pairs": some}]), FIVE, FIVE) for some in (pairs, pairs[::-1]))
    assert np.array_equal(ours.sd, theirs.sd) and np.array_equal(ours.bias, theirs.bias)


@FEW
@given(st.lists(checks(), min_size=2, max_size=4))
def test_a_check_is_answered_as_if_it_had_come_alone(some):
    alone = [answered(one)["device_checks"][0] for one in some]
    assert answered(*some)["device_checks"] == alone


@FEW
@given(checks())
def test_swapping_device_and_reference_turns_the_bias_round(check):
    swapped = [one | {"device": one["reference"], "reference": one["device"]} for one in check["pairs"]]
    (ours,), (theirs,) = (answered(one)["device_checks"] for one in (check, {**check, "pairs": swapped}))
    for name in PRESSURES:
        assert close(ours["bias"][name]["mean"], -theirs["bias"][name]["mean"])
        assert close(ours["sd"][name], theirs["sd"][name])
        turned = [None if end is None else -end for end in reversed(ends(theirs["limits95"][name]))]
        assert close(ends(ours["limits95"][name]), turned)


@FEW
@given(st.integers(1, 12), st.integers(1, 12), st.integers(0, 1))
def test_fewer_independent_pairs_than_needed_never_agree(count, named, off):
    same = {"systolic": 130, "diastolic": 80}
    device = {"systolic": 130 + off, "diastolic": 80}
    pairs = [{"device": device, "reference": same, "occasion": f"o{place % named}"} for place in range(count)]
    (found,) = answered({"device": "d", "pairs": pairs})["device_checks"]
    assert found["occasions"] == min(count, named)
    assert (found["verdict"] == "agrees") == (found["occasions"] >= FEWEST)


@FEW
@given(checks())
def test_an_interval_holds_what_it_is_an_interval_of(check):
    (found,) = answered(check)["device_checks"]
    for name in PRESSURES:
        limits, intervals = ends(found["limits95"][name]), found["limits95_intervals"][name]
        for limit, (low, high) in zip(limits, (ends(intervals["low"]), ends(intervals["high"])), strict=True):
            assert (limit is None and low is None) or low <= limit <= high
