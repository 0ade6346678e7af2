"""The stepwise check of one patient's own device, against the form that it follows.

source: American Medical Association, form for checking a patient's own device: A and B with the device, C with the
reference, D with the device, E with the reference. B against C: up to 5 usable, up to 10 go on, above not usable.
C against the mean of B and D: up to 10 usable, else replace. Bands published, quoted from memory.
"""

import numpy as np
import pytest
from scipy.stats import norm

from heartlevel.one_call import device_answer_to
from heartlevel.statistics.procedure import PROCEDURE_VERDICTS, usable_by_chance
from support import rules

TAKER = {"d": "device", "r": "reference"}
REFERENCE = 130


def taken(letter, systolic, diastolic=80):
    return {"by": TAKER[letter], "systolic": systolic, "diastolic": diastolic}


def sequence(order, *differences):
    """Readings by letter; a difference is from the reference's 130, and 0 for the reference itself."""
    return [taken(letter, REFERENCE + away) for letter, away in zip(order, differences, strict=True)]


def checked(readings, protocol="aha-ama-2020"):
    check = {"device": "d", "sequence": readings}
    return device_answer_to({"device_checks": [check], "options": {"protocol": protocol}}, rules())


def verdict(readings):
    return checked(readings)["device_checks"][0]["procedure"]["verdict"]


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("away", "expected"),
    [(0, "usable"), (4.9, "usable"), (5, "usable"), (5.1, "go-on"), (6, "go-on"), (9.9, "go-on"), (10, "go-on"),
     (10.1, "replace"), (11, "replace"), (40, "replace")],
)  # fmt: skip
def test_the_bands_of_the_first_step_are_those_of_the_form(away, expected, sign):
    assert verdict(sequence("ddr", sign * 50, sign * away, 0)) == expected


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [(6, 13.9, "usable"), (6, 14, "usable"), (6, 14.2, "replace"), (10, 10, "usable"), (10, 10.2, "replace"),
     (8, -40, "replace"), (8, -28, "usable"), (8, 0, "usable")],
)  # fmt: skip
def test_the_band_of_the_second_step_is_that_of_the_form(before, after, expected, sign):
    for order, end in (("ddrd", ()), ("ddrdr", (0,))):
        assert verdict(sequence(order, sign * 50, sign * before, 0, sign * after, *end)) == expected


@pytest.mark.parametrize(
    ("order", "differences"),
    [("", ()), ("d", (0,)), ("dd", (0, 0)), ("rdd", (0, 0, 0)), ("drd", (0, 1, 0)), ("rrd", (0, 0, 1)),
     ("ddd", (0, 0, 0)), ("drdrd", (1, 0, 1, 0, 1)), ("ddrr", (0, 8, 0, 0)), ("ddrrd", (0, 8, 0, 0, 8))],
)  # fmt: skip
def test_readings_that_decide_have_to_be_taken_in_the_order_of_the_form(order, differences):
    assert verdict(sequence(order, *differences)) == "order-not-followed"


@pytest.mark.parametrize(("away", "expected"), [(3, "usable"), (12, "replace")])
def test_what_follows_the_reading_that_decides_takes_nothing_back(away, expected):
    for order, after in (("ddrr", (0,)), ("ddrdr", (away, 0)), ("ddrrdd", (0, 0, 0))):
        assert verdict(sequence(order, away, away, 0, *after)) == expected


def test_the_order_is_that_of_the_form_under_every_protocol():
    for name in rules().ruleset.protocols:
        (found,) = checked(sequence("ddrdr", 0, 8, 0, 8, 0), name)["device_checks"]
        assert found["procedure"]["verdict"] == "usable"


def test_differences_are_the_devices_from_the_reference_of_both_pressures():
    readings = [taken("d", 150, 95), taken("d", 138, 86), taken("r", 130, 82), taken("d", 134, 85), taken("r", 129, 80)]
    (found,) = checked(readings)["device_checks"]
    assert {key: value for key, value in found["procedure"].items() if key != "error_rates"} == {
        "verdict": "usable",
        "differences": {"first": {"systolic": 8, "diastolic": 4}, "second": {"systolic": 6, "diastolic": 3.5}},
    }
    # Each reference with the device beside it: 136 and 85.5 with 130 and 82, 134 and 85 with 129 and 80.
    assert (found["pairs"], found["occasions"]) == (2, 1)
    assert [found["bias"][name]["mean"] for name in ("systolic", "diastolic")] == [5.5, 4.2]


def test_the_diastolic_difference_is_told_and_does_not_decide():
    (found,) = checked([taken("d", 130), taken("d", 131, 110), taken("r", 130, 80)])["device_checks"]
    assert (found["procedure"]["verdict"], found["procedure"]["differences"]["first"]["diastolic"]) == ("usable", 30)


def test_readings_of_one_sequence_are_one_occasion_and_show_no_equivalence():
    (found,) = checked(sequence("ddr" + "dr" * 8, 0, 0, *(0,) * 17))["device_checks"]
    assert (found["pairs"], found["occasions"], found["verdict"]) == (9, 1, "undecided")


@pytest.mark.parametrize(
    ("readings", "rule", "step"),
    [(sequence("ddr", 0, 8, 0), "procedure-go-on", "go-on-with-device-check"),
     (sequence("ddr", 0, 12, 0), "procedure-replace", "use-validated-device"),
     (sequence("drd", 0, 0, 0), "procedure-order", "recheck-device")],
)  # fmt: skip
def test_what_is_not_usable_is_found_with_what_to_do_and_nothing_else(readings, rule, step):
    answer = checked(readings)
    assert [one["rule"] for one in answer["findings"]] == [rule]
    assert [one["code"] for one in answer["next_steps"]] == [step]


def test_a_usable_device_has_no_finding():
    assert checked(sequence("ddrdr", 0, 8, 0, 8, 0))["findings"] == []


def test_where_pairs_are_sent_nothing_is_said_of_steps():
    pair = {"device": {"systolic": 142, "diastolic": 80}, "reference": {"systolic": 130, "diastolic": 80}}
    answer = device_answer_to({"device_checks": [{"device": "d", "pairs": [pair]}]}, rules())
    assert answer["device_checks"][0]["procedure"] is None
    assert {one["rule"] for one in answer["findings"]} == {"device-check-undecided", "few-comparison-pairs"}


def test_each_check_of_many_is_judged_as_alone():
    each = [sequence("ddr", 0, 3, 0), sequence("ddr", 0, 8, 0), sequence("ddr", 0, 12, 0), sequence("rdd", 0, 3, 0)]
    together = device_answer_to({"device_checks": [{"device": "d", "sequence": one} for one in each]}, rules())
    assert [one["procedure"]["verdict"] for one in together["device_checks"]] == list(PROCEDURE_VERDICTS)
    assert together["device_checks"] == [checked(one, None)["device_checks"][0] for one in each]


@pytest.mark.parametrize("bias", [0.0, 4.0, 10.0, -10.0])
def test_error_rates_are_those_of_checks_carried_out_at_random(bias):
    """200,000 checks: three readings each of normal scatter, judged by the bands of the form as they stand there."""
    draw = np.random.default_rng(17)
    before, reference, after = draw.normal([[bias], [0], [bias]], 8 / 2**0.5, (3, 200_000))
    first, second = np.abs(before - reference), np.abs((before + after) / 2 - reference)
    usable = (first <= 5) | ((first <= 10) & (second <= 10))
    within = {"usable_within": 5, "doubtful_within": 10, "mean_within": 10, "sd_of_readings": 8}
    found = usable_by_chance(np.array([bias]), {name: np.array([float(value)]) for name, value in within.items()})
    assert found[0] == pytest.approx(usable.mean(), abs=0.004)


def test_the_error_rates_stand_beside_the_verdict_whatever_it_is():
    """About a quarter of exact devices fail, and two fifths of those off by 10 pass, where readings scatter by 8."""
    for away in (3, 8, 12):
        rates = checked(sequence("ddr", 0, away, 0))["device_checks"][0]["procedure"]["error_rates"]
        assert (rates["off_by"], rates["sd_of_readings"]) == (10, 8)
        assert (rates["replace_though_exact"], rates["usable_though_off"]) == (0.24, 0.42)
        assert "24 %" in rates["text"] and "42 %" in rates["text"]


def test_a_quarter_of_pairs_differ_by_ten_or_more_at_the_scatter_taken():
    """J Hypertens 2021, n = 77 520: 25 % of first two readings differ by 10 or more; the first is higher by about 3."""
    assert norm.sf(10, 3, 8) + norm.cdf(-10, 3, 8) == pytest.approx(0.25, abs=0.02)
