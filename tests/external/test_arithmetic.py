"""Arithmetic against published worked figures and against other libraries."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from heartlevel.statistics.uncertainty import both_below, interval95, probability_at_or_above
from heartlevel.statistics.variability import variability
from support import answer, average, reading, rules, rules_fired, week


def assessed(payload):
    return assess_requests([read(payload, rules().ruleset.choices)], rules())


# source: hydrostatics, rho g h with 1060 kg/m3 and 9.80665 m/s2 (computed); AHA 2005 "2 mmHg per inch" (quoted from memory)
@pytest.mark.parametrize(("height_cm", "offset"), [(-10, 7.797), (10, -7.797), (-2.54, 1.980), (-25, 19.49), (0, 0)])
def test_ten_centimetres_of_blood_are_seven_point_eight_millimetres_of_mercury(height_cm, offset):
    payload = week(days=1, technique={"arm_height_cm": height_cm})
    assert assessed(payload).facts["reading"]["hydrostatic_offset_mmhg"] == pytest.approx(offset, abs=0.01)


# source: UCUM, m[Hg] = 133.3220 kPa (published)
@pytest.mark.parametrize(("kilopascals", "mmhg"), [(16.0, 120.01), (18.0, 135.01), (10.6, 79.51)])
def test_kilopascals_become_millimetres_of_mercury(kilopascals, mmhg):
    payload = week(days=1, pressures=((kilopascals, 8.0),), unit="kPa")
    assert assessed(payload).facts["reading"]["systolic"] == pytest.approx(mmhg, abs=0.005)


# source: UCUM (published); ESH 2023 home limit 135/85 (published)
@pytest.mark.parametrize(("kilopascals", "category"), [(17.99, "below-threshold"), (18.0, "hypertension")])
def test_eighteen_kilopascals_reach_the_home_limit(kilopascals, category):
    payload = week(pressures=((kilopascals, 10.0),) * 2, options={"guideline": "esh-2023"}, unit="kPa")
    assert answer(payload)["classification"]["category"] == category


# source: diastolic plus a third of the pulse pressure (quoted from memory; 120/80 computed)
@pytest.mark.parametrize(("systolic", "diastolic", "mean"), [(120, 80, 93.333), (180, 120, 140.0), (100, 70, 80.0)])
def test_mean_arterial_pressure_is_diastolic_plus_a_third_of_the_pulse_pressure(systolic, diastolic, mean):
    payload = week(days=1, pressures=((systolic, diastolic),))
    assert assessed(payload).facts["reading"]["mean_arterial"] == pytest.approx(mean, abs=0.001)
    assert {one["mean_arterial"] for one in answer(payload)["readings"]} == {round(mean, 1)}


# source: definitions of SD, CV and ARV (published; ARV first by Mena et al. 2005), vectors computed:
# the same values in two orders have the same spread, not the same variability from one reading to the next
@pytest.mark.parametrize(("series", "arv"), [([120, 130, 120, 130, 120, 130], 10.0), ([120, 120, 120, 130, 130, 130], 2.0)])
def test_variability_knows_the_order_and_spread_does_not(series, arv):
    readings = [reading(f"2026-03-0{day + 1}T07:00:00+01:00", value, 80) for day, value in enumerate(series)]
    payload = {"subject": {"id": "s"}, "readings": readings}
    batch = assessed(payload).batch
    found = variability(batch, batch.readings["systolic"], np.ones(6, dtype=bool))
    assert (found.sd[0], found.cv[0], found.arv[0]) == pytest.approx((5.4772, 4.3818, arv), abs=1e-4)
    said = answer(payload)["variability"]["home"]["systolic"]
    assert (said["sd"], said["cv"], said["arv"]) == (5.5, 4.4, arv)


# source: NICE NG136 drops day one (published); ESH 2023 too, AHA/AMA 2020 and ESC 2024 keep all (quoted from memory);
# the counts are computed
@pytest.mark.parametrize(
    ("protocol", "days", "kept"),
    [("nice-ng136", 7, 24), ("nice-ng136", 4, 12), ("esh-2023", 7, 24), ("esh-2023", 4, 12),
     ("aha-ama-2020", 7, 28), ("aha-ama-2020", 3, 12), ("esc-2024", 7, 28)],
)  # fmt: skip
def test_each_protocol_averages_the_readings_it_says(protocol, days, kept):
    found = answer(week(days=days, options={"protocol": protocol}))
    assert average(found)["readings"] == kept
    assert found["coverage"]["enough_for_protocol"]
    dropped = {one["because"]: len(one["readings"]) for one in average(found)["left_out"]}
    assert dropped == ({"first-days-discarded": 4} if 4 * days > kept else {})


# source: the same; one day fewer than the fewest is too few
@pytest.mark.parametrize(("protocol", "days"), [("nice-ng136", 3), ("esh-2023", 2), ("aha-ama-2020", 2)])
def test_too_few_days_are_not_classified(protocol, days):
    found = answer(week(days=days, options={"protocol": protocol}))
    assert not found["coverage"]["enough_for_protocol"]
    assert found["classification"]["category"] is None


# source: NICE NG136 lower of the last two (published); ESC/ESH 2018 mean of the last two (published);
# ACC/AHA 2017 mean of all (published)
@pytest.mark.parametrize(
    ("protocol", "systolic"), [("nice-ng136", 140.0), ("esc-2024", 145.0), ("esh-2023", 145.0), ("aha-ama-2020", 150.0)]
)
def test_each_protocol_uses_the_office_readings_it_says(protocol, systolic):
    readings = [
        reading(f"2026-03-02T10:0{minute}:00+01:00", value, value - 60, setting="office", taken_by="staff")
        for minute, value in ((0, 160), (2, 150), (4, 140))
    ]
    found = answer({"subject": {"id": "s"}, "readings": readings, "options": {"protocol": protocol}})
    assert average(found, "office")["systolic"]["mean"] == systolic


def scattered(seed=3, days=9):
    source = np.random.default_rng(seed)
    payload = week(days=days, options={"protocol": "aha-ama-2020"})
    for one in payload["readings"]:
        one["systolic"] = round(float(source.normal(138, 9)), 1)
        one["diastolic"] = round(float(source.normal(84, 6)), 1)
    return payload


def as_frame(payload):
    frame = pd.DataFrame(payload["readings"])
    frame["taken_at"] = pd.to_datetime(frame["taken_at"], utc=True)
    frame["day"] = frame["taken_at"].dt.tz_convert(ZoneInfo("Europe/Oslo")).dt.date
    return frame.sort_values("taken_at")


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("pressure", ["systolic", "diastolic"])
def test_averages_are_those_of_pandas_numpy_and_scipy(seed, pressure):
    payload = scattered(seed)
    frame, of = as_frame(payload), assessed(payload).averages
    place = ("systolic", "diastolic").index(pressure), of.row("protocol"), 0
    by_day = frame.groupby("day")[pressure].mean()
    assert of.mean[place] == pytest.approx(frame[pressure].mean(), rel=1e-12)
    assert of.sd[place] == pytest.approx(np.std(frame[pressure], ddof=1), rel=1e-12)
    assert of.day_mean[place] == pytest.approx(by_day.mean(), rel=1e-12)
    low, high = stats.t.interval(0.95, len(by_day) - 1, loc=by_day.mean(), scale=stats.sem(by_day))
    ours = interval95(of.day_mean, of.standard_error, of.day_count)
    assert (ours[0][place], ours[1][place]) == pytest.approx((low, high), rel=1e-9)
    shown = average(answer(payload))[pressure]
    assert shown["interval95"] == pytest.approx([low, high], abs=0.0501)
    assert shown["mean"] == pytest.approx(frame[pressure].mean(), abs=0.0501)


def test_morning_and_evening_averages_are_those_of_pandas():
    payload = scattered()
    frame, found = as_frame(payload), answer(payload)
    hour = frame["taken_at"].dt.tz_convert(ZoneInfo("Europe/Oslo")).dt.hour
    for basis, chosen in (("morning", hour < 12), ("evening", hour >= 16)):
        assert average(found, basis=basis)["readings"] == chosen.sum()
        assert average(found, basis=basis)["systolic"]["mean"] == pytest.approx(
            frame["systolic"][chosen].mean(), abs=0.0501
        )


@pytest.mark.parametrize("correlation", [-0.95, -0.5, 0.0, 0.3, 0.8, 0.99])
@pytest.mark.parametrize(
    ("first", "second"), [(0, 0), (0, 1.2), (-0.7, 0), (0.5, 0.5), (-1.3, 2.1), (-2, -1), (3, -3), (1.5, 0.2)]
)
def test_the_bivariate_normal_is_that_of_scipy(first, second, correlation):
    ours = both_below(np.array([[first], [second]], dtype=float), np.array([correlation]))
    theirs = stats.multivariate_normal.cdf([first, second], mean=[0, 0], cov=[[1, correlation], [correlation, 1]])
    assert ours[0] == pytest.approx(float(theirs), abs=1e-7)


def test_with_one_limit_the_probability_is_that_of_students_t():
    mean, error, days = np.array([[132.0], [80.0]]), np.array([[3.0], [2.0]]), np.array([7.0])
    chance = probability_at_or_above(mean, error, np.array([0.4]), days, np.array([[135.0], [np.inf]]))
    assert chance[0] == pytest.approx(stats.t.sf((135 - 132) / 3, 6), abs=1e-9)


def test_the_difference_of_office_and_home_has_welchs_interval():
    payload = scattered(7)
    source = np.random.default_rng(8)
    for day in range(4):
        value = round(float(source.normal(150, 6)), 1)
        payload["readings"].append(
            reading(f"2026-03-{12 + day}T10:00:00+01:00", value, 90, setting="office", taken_by="staff")
        )
    days = as_frame(payload).groupby(["setting", "day"])["systolic"].mean()
    result = stats.ttest_ind(days["office"], days["home"], equal_var=False).confidence_interval(0.95)
    found = answer(payload)["pattern"]["office_minus_home"]["systolic"]
    assert found["interval95"] == pytest.approx([result.low, result.high], abs=0.0501)


def test_the_right_rule_names_an_entry_in_kilopascals():
    assert "entered-in-kilopascals" in rules_fired(answer(week(days=1, pressures=((17.5, 11.0),))))
