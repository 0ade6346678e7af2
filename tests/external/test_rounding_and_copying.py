"""Rounded and copied values in one week: exact chances by scipy, and powers in simulated weeks with known copying.

Powers and false alarms that were published beforehand for 28 readings are the reference's, computed from the binomial
distribution: 8 zeros or more have a chance of .005, and of .64 where 30 % of digits are zeros.
"""

import numpy as np
import pytest
from scipy import stats

from cohort.honest import honest_week, usual_pressure
from heartlevel.assessment import assess_requests
from heartlevel.facts.digits import largest_share, tail
from heartlevel.intake.request import read
from support import reading, rules

ROUNDED, REPEATED = "home-values-rounded", "home-values-repeated"
PRESSURES = ("systolic", "diastolic")
MANY = 300


def judged(weeks):
    """The facts of series of these weeks, and for each of the two rules whether it fires."""
    payloads = [{"subject": {"id": f"s-{place}"}, "readings": week} for place, week in enumerate(weeks)]
    found = assess_requests([read(one, rules().ruleset.choices) for one in payloads], rules())
    verdicts, fired = found.verdicts["series"], found.verdicts["series"].fired()
    places = [rule.id for rule in verdicts.rules]
    return found.facts["series"], {rule: fired[places.index(rule)] for rule in (ROUNDED, REPEATED)}


def weeks(number=MANY, seed=11):
    draw = np.random.default_rng(seed)
    return [honest_week(draw, usual_pressure(draw)) for _ in range(number)]


def to_tens(week, share, seed, names=PRESSURES):
    chosen = np.random.default_rng(seed).random(len(week)) < share
    return [{**one, **{name: 10 * round(one[name] / 10) for name in names}} if picked else one
            for one, picked in zip(week, chosen, strict=True)]  # fmt: skip


def copied_days(week, share, seed):
    """Days written down as the first was, each with this chance."""
    chosen = np.random.default_rng(seed).random(7) < share
    first = {one["id"][1:]: one for one in week if one["id"].startswith("0")}
    return [{**one, **{name: first[one["id"][1:]][name] for name in PRESSURES}} if chosen[int(one["id"][0])] else one
            for one in week]  # fmt: skip


@pytest.mark.parametrize("share", [0.1, 0.2, 0.01, 0.37])
def test_chances_are_those_of_the_binomial_distribution(share):
    """scipy.stats.binom."""
    count, size = map(np.ravel, np.mgrid[0:29, 12:57:4].astype(float))
    possible = count <= size
    ours = tail(count[possible], size[possible], np.full(possible.sum(), share))
    assert ours == pytest.approx(stats.binom.sf(count[possible] - 1, size[possible], share), rel=1e-9, abs=1e-300)


@pytest.mark.parametrize(("size", "count", "alpha", "power"), [
    (12, 5, 0.004, 0.28), (20, 7, 0.002, 0.39), (24, 7, 0.007, 0.61), (28, 8, 0.005, 0.64), (56, 12, 0.008, 0.94),
])  # fmt: skip
def test_chances_are_those_worked_out_before(size, count, alpha, power):
    """Reference for conclusions, H: α and power at 30 % zeros (computed there), to the decimals given."""
    found = tail(np.full(2, float(count)), np.full(2, float(size)), np.array([0.1, 0.3]))
    assert (round(found[0], 3), round(found[1], 2)) == (alpha, power)


@pytest.mark.parametrize("sd", [1.0, 2.0, 3.0, 5.0, 9.0])
@pytest.mark.parametrize(("step", "unit"), [(10, 1), (5, 1), (10, 2)])
def test_no_honest_values_of_a_spread_have_a_larger_share_of_round_ones(step, unit, sd):
    """Against the normal density summed over multiples of the step, by scipy.stats.norm, its mean on one of them."""
    exact = unit * stats.norm.pdf(step * np.arange(-60, 61), 0, sd).sum()
    assert largest_share(step, np.full(1, unit), np.full(1, sd)) == pytest.approx(min(exact, 1), rel=1e-6)


def test_honest_weeks_are_seldom_called_rounded_or_repeated():
    """At most 5 of 1000 each by design; more than 4 of 300 would have a chance of 2 % (binomial)."""
    _, fired = judged(weeks())
    assert fired[ROUNDED].sum() <= 4 and fired[REPEATED].sum() <= 4


@pytest.mark.parametrize(("share", "names", "least"), [
    (0.3, PRESSURES, 0.75), (0.6, PRESSURES, 0.99), (0.6, ("systolic",), 0.95), (0.6, ("diastolic",), 0.9),
])  # fmt: skip
def test_rounding_to_tens_shows_in_one_week(share, names, least):
    _, fired = judged([to_tens(week, share, seed, names) for seed, week in enumerate(weeks())])
    assert fired[ROUNDED].mean() >= least


def test_rounding_to_fives_shows_in_one_week():
    rounded = [[{**one, **{name: 5 * round(one[name] / 5) for name in PRESSURES}} for one in week] for week in weeks(100)]
    assert judged(rounded)[1][ROUNDED].mean() >= 0.95


def test_a_scale_of_even_numbers_is_no_rounding():
    """A column of mercury is read to the nearest 2 mmHg (reference, 7: 20 % zeros expected)."""
    even = [[{**one, **{name: 2 * round(one[name] / 2) for name in PRESSURES}} for one in week] for week in weeks()]
    _, fired = judged(even)
    assert fired[ROUNDED].sum() <= 4
    assert judged([to_tens(week, 0.6, seed) for seed, week in enumerate(even)])[1][ROUNDED].mean() >= 0.9


def test_little_spread_is_no_rounding():
    """A person whose values all lie within 118 to 122 has many zeros."""
    draw = np.random.default_rng(5)
    still = [[{**one, "systolic": round(120 + draw.normal(0, 1.5)), "diastolic": round(75 + draw.normal(0, 2))}
              for one in week] for week in weeks(200)]  # fmt: skip
    assert judged(still)[1][ROUNDED].sum() <= 3


def test_days_copied_from_the_first_show_in_one_week():
    """Six days copied with a chance of .3 each leave none copied in .7^6 = 12 % of weeks."""
    copied = [copied_days(week, 0.3, seed) for seed, week in enumerate(weeks())]
    some = np.array([copy != week for copy, week in zip(copied, weeks(), strict=True)])
    assert some.mean() == pytest.approx(0.88, abs=0.05)
    _, fired = judged(copied)
    assert (fired[REPEATED] | fired[ROUNDED])[some].mean() == 1  # a copied day of round values is told as rounded
    assert fired[REPEATED][some].mean() >= 0.9


def test_second_readings_copied_from_the_first_show_in_one_week():
    def copied(week, seed):
        chosen = np.random.default_rng(seed).random(14) < 0.4
        return [{**one, **{name: week[place - place % 2][name] for name in PRESSURES}} if chosen[place // 2] else one
                for place, one in enumerate(week)]  # fmt: skip

    assert judged([copied(week, seed) for seed, week in enumerate(weeks(100))])[1][REPEATED].mean() >= 0.7


def test_the_counts_told_are_those_of_the_values():
    week = weeks(1)[0]
    for place, (systolic, diastolic) in enumerate([(130, 80), (120, 80), (140, 77), (131, 70), (130, 80)]):
        week[place] |= {"systolic": systolic, "diastolic": diastolic}
    facts, _ = judged([week])
    zeros = [sum(one[name] % 10 == 0 for one in week) for name in PRESSURES]
    both = sum(one["systolic"] % 10 == one["diastolic"] % 10 == 0 for one in week)
    assert [facts[f"home_{name}_zeros"][0] for name in PRESSURES] + [facts["home_both_zeros"][0]] == [*zeros, both]
    assert facts["home_whole_readings"][0] == 28


def test_nothing_is_said_of_few_readings_or_of_converted_ones():
    few = [reading(f"2026-03-{2 + place:02d}T07:00:00+01:00", 120, 80) for place in range(11)]
    converted = [{**one, "systolic": 16.0, "diastolic": 10.7, "unit": "kPa"} for one in weeks(1)[0]]
    facts, fired = judged([few, converted])
    assert np.isnan(facts["home_systolic_zero_chance"]).all() and not fired[ROUNDED].any()
