"""Published figures at their edge, asked of whole answers. Each test names its source."""

import pytest

from support import answer, reading, rules_fired, rules_told, week


def at(minute, systolic, diastolic=80, day=1, **more):
    return reading(f"2026-03-{day:02d}T08:{minute:02d}:00+01:00", systolic, diastolic, **more)


def fired(*readings, **subject):
    return rules_fired(answer({"subject": {"id": "s-1", "age_years": 70, **subject}, "readings": list(readings)}))


def told(*readings, **subject):
    return rules_told(answer({"subject": {"id": "s-1", "age_years": 70, **subject}, "readings": list(readings)}))


def arms(difference, pairs=1, **subject):
    left, right = ({"setting": "office", "site": f"{side}-upper-arm"} for side in ("left", "right"))
    readings = [one for pair in range(pairs)
                for one in (at(4 * pair, 120, **left), at(4 * pair + 2, 120 + difference, **right))]  # fmt: skip
    return {name for name in told(*readings, **subject) if name.startswith("arms")}


MAY, DO, MUCH = {"arms-may-differ"}, {"arms-differ"}, {"arms-differ", "arms-differ-much"}


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("pairs", "expected"), [(1, [set(), MAY, MAY, MAY, DO, DO, MUCH]),
                                                 (2, [set(), MAY, MAY, DO, DO, DO, MUCH]),
                                                 (4, [set(), DO, DO, DO, DO, DO, MUCH])])  # fmt: skip
def test_arms_differ_where_so_many_pairs_seldom_do_by_chance(sign, pairs, expected):
    """From 10 mmHg: common practice; above 20 investigate: ISH 2020 (Unger et al., Hypertension 2020;75:1334).

    Differences of a sitting spread by 9 to 10 (Salazar et al. 2015): 1.96 of 9 over the root of 1, 2 and 4 pairs is 17.6,
    12.5 and 8.8.
    """
    assert [arms(sign * size, pairs) for size in (9, 10, 12, 13, 18, 20, 21)] == expected


def test_nobody_is_asked_to_measure_an_arm_that_is_to_be_avoided():
    """Common practice."""
    assert arms(26, avoid_arms=[]) == MUCH
    assert arms(26, avoid_arms=["left"]) == arms(12, avoid_arms=["left"]) == set()


def falls(position, systolic, diastolic, minutes=1, days=1, **subject):
    """What is told of standing up on so many days, each with the same fall."""
    before, after = ({"technique": {"body_position": one}} for one in (position, "standing"))
    readings = [one for day in range(1, days + 1) for one in (
        at(0, 140, 80, day=day, **before), at(minutes, 140 - systolic, 80 - diastolic, day=day, **after))]  # fmt: skip
    return {name for name in told(*readings, **subject) if name.startswith("fall")}


@pytest.mark.parametrize(
    ("position", "limits"),
    [
        ("lying", (20, 10)),  # Freeman et al., Clin Auton Res 2011;21:69 (from memory)
        ("sitting", (15, 7)),  # Shaw et al., J Hypertens 2017;35:1019: optimal cut-offs of the sit-to-stand test
    ],
)
def test_a_fall_on_standing_asks_for_another_look_from_the_limit_of_the_position_before(position, limits):
    systolic, diastolic = limits
    below, at_limit = falls(position, systolic - 1, diastolic - 1), falls(position, 0, diastolic)
    assert (below, at_limit) == (set(), {f"fall-possible-from-{position}"})
    fainted = [
        falls(position, *fall, fainting=True) for fall in ((systolic - 1, diastolic - 1), (systolic, 0), (0, diastolic))
    ]
    assert fainted == [set(), {"fall-on-standing-with-fainting"}, {"fall-on-standing-with-fainting"}]


@pytest.mark.parametrize(("position", "twice"), [("lying", (20, 10)), ("sitting", (15, 10))])
def test_a_fall_is_told_where_its_size_or_a_second_look_makes_chance_unlikely(position, twice):
    """2.24 of 9 mmHg systolic (Salazar et al. 2015), 6 diastolic (a convention here): 20.2, 13.4, and over √2 14.3, 9.5."""
    named, possible = {f"fall-from-{position}-to-standing"}, {f"fall-possible-from-{position}"}
    assert [falls(position, 20, 0), falls(position, 0, 14), falls(position, 0, 13)] == [named, named, possible]
    assert falls(position, 0, twice[1], days=2) == named
    assert falls(position, twice[0], 0, days=2) == named
    if position == "sitting":
        assert [falls(position, 15, 0), falls(position, 0, 9, days=2)] == [possible, possible]


@pytest.mark.parametrize("position", ["lying", "sitting"])
def test_a_standing_reading_of_more_than_five_minutes_later_is_not_compared(position):
    """Common practice: 3 minutes of standing (Freeman et al. 2011, from memory), and the time of getting up."""
    assert [bool(falls(position, 30, 15, minutes)) for minutes in (4, 5, 6)] == [True, True, False]


@pytest.mark.parametrize(("count", "expected"), [(1, True), (2, True), (3, False), (4, False)])
def test_an_irregular_pulse_asks_for_three_repeats(count, expected):
    """BIHS 2019: repeat at least three times and average."""
    readings = [at(5 * place, 130 + place) for place in range(count)]
    assert ("irregular-pulse-few-repeats" in fired(*readings, irregular_pulse_known=True)) is expected
    assert "irregular-pulse-few-repeats" not in fired(*readings, irregular_pulse_known=False)
    readings[-1]["device_status"] = {"irregular_pulse": True}
    assert ("irregular-pulse-few-repeats" in fired(*readings)) is expected


def near(first, second, **options):
    """A week whose days' means swing by two around the mean of the two readings."""
    payload = week(pressures=((first, 70), (second, 70)), options=options)
    for place, one in enumerate(payload["readings"]):
        one["systolic"] += 2 if place // 4 % 2 else -2
    return "home-average-near-limit" in rules_told(answer(payload))


def test_only_an_average_close_to_the_limit_in_use_is_left_open():
    """Limits: AHA/ACC 2025 Table 7 (130/80 at home) and NICE NG136 (135/85).

    Seven days swing by 2: standard deviation 2.14, standard error 0.81, half an 80 % interval 1.17 (t of 6 degrees, 1.440)
    around 0.29 below the mean. At NICE the first day is left out: means of 2, -2, ... over six days, half 1.32 around 0.
    """
    assert [near(mean - 1, mean + 1) for mean in (129, 129.5, 130, 131, 132)] == [False, True, True, True, False]
    assert [near(mean - 1, mean + 1, guideline="nice-ng136") for mean in (130, 133.5, 134, 135, 137)] == [
        False, False, True, True, False,
    ]  # fmt: skip


def test_three_equal_readings_pass_and_four_do_not():
    """Common practice."""
    runs = [[at(5 * place, 124, day=day) for day in (1, 2, 3) for place in (0, 1)][:length] for length in (3, 4, 5)]
    assert ["same-values-in-a-row" in fired(*run) for run in runs] == [False, True, True]


@pytest.mark.parametrize(("as_of", "expected"), [("2026-05-29", False), ("2026-05-30", False), ("2026-05-31", True)])
def test_home_readings_of_more_than_ninety_days_ago_are_old(as_of, expected):
    """Common practice. 1 March + 90 days is 30 May."""
    payload = {"subject": {"id": "s-1"}, "readings": [at(0, 124)], "options": {"as_of": as_of}}
    assert ("home-readings-old" in rules_fired(answer(payload))) is expected


@pytest.mark.parametrize(("away", "expected"), [(0, None), (12, "high"), (-12, "high")])
def test_home_readings_from_a_device_that_disagrees_are_not_relied_on(away, expected):
    """Common practice; a device is taken to disagree where a mean difference within 5 mmHg is ruled out."""
    payload = week(device="d-1") | {"devices": [{"id": "d-1"}]}
    pairs = [
        {"device": {"systolic": 130 + away + one, "diastolic": 80}, "reference": {"systolic": 130, "diastolic": 80}}
        for one in (0, 1, 0, 1, 0, 1)
    ]
    payload["device_checks"] = [{"device": "d-1", "pairs": pairs}]
    found = {one["rule"]: one["severity"] for one in answer(payload)["findings"]}
    assert found.get("home-device-disagrees") == expected


IN_A_SITTING = {"steady-rise-in-sitting", "steady-fall-in-sitting", "repeats-disagree"}


def repeats(*systolic, last=None):
    """What is said of a sitting's seated readings on the left arm, the last one taken otherwise."""
    seated = {"site": "left-upper-arm", "technique": {"body_position": "sitting"}}
    readings = [at(2 * place, value, **seated) for place, value in enumerate(systolic)]
    readings[-1] |= last or {}
    return IN_A_SITTING & fired(*readings)


def test_a_rise_takes_three_readings_each_above_the_one_before_and_ten_in_all():
    """Common practice: two readings are no trend, and small rises are chance."""
    cases = [(120, 129, 130), (120, 122, 129), (120, 122, 131), (120, 131, 131), (131, 120, 132), (120, 122, 124, 130)]
    assert [bool(repeats(*case)) for case in cases] == [True, False, True, False, False, True]
    assert repeats(120, 130) == set()


@pytest.mark.parametrize("last", [{"site": "right-upper-arm"}, {"technique": {"body_position": "standing"}}])
def test_a_reading_of_another_arm_or_posture_is_no_repeat(last):
    """Common practice."""
    cases = {(120, 128, 136): "steady-rise-in-sitting", (142, 128, 120): "steady-fall-in-sitting",
             (140, 120): "repeats-disagree"}  # fmt: skip
    for systolic, rule in cases.items():
        assert repeats(*systolic) == {rule}
        assert repeats(*systolic, last=last) == set()


def test_later_readings_are_lower_and_only_a_fall_of_twenty_in_all_is_told():
    """Salazar et al., J Hum Hypertens 2015;29:373: the third lies 5 to 6 below the first, spread 9 to 10."""
    cases = [(136, 128, 117), (136, 128, 116), (136, 110, 118), (136, 130, 124, 116), (140, 121)]
    assert [repeats(*case) == {"steady-fall-in-sitting"} for case in cases] == [False, True, False, True, False]


@pytest.mark.parametrize(("setting", "apart", "expected"), [
    ("office", 10, False), ("office", 11, True), ("pharmacy", 11, True), ("home", 11, False), ("home", 19, False),
])  # fmt: skip
def test_outside_the_home_a_third_reading_is_asked_for_above_ten(setting, apart, expected):
    """ESC/ESH 2018; no finding, as a quarter of pairs differ by 10 or more (J Hypertens 2021, n = 77 520)."""
    payload = {"subject": {"id": "s-1"}, "readings": [at(0, 120 + apart, setting=setting), at(2, 120, setting=setting)]}
    assert ("take-another-reading" in {step["code"] for step in answer(payload)["next_steps"]}) is expected
    assert IN_A_SITTING & fired(*payload["readings"]) == set()


@pytest.mark.parametrize(("sittings", "apart", "expected"), [(1, 19, False), (1, 20, True), (3, 20, True), (4, 20, False),
                                                             (4, 29, False), (4, 30, True), (14, 30, True)])  # fmt: skip
@pytest.mark.parametrize("setting", ["home", "office"])
def test_one_pair_of_many_disagrees_where_chance_seldom_makes_it_of_so_many(setting, sittings, apart, expected):
    """Of 14 pairs whose difference has a standard deviation of 8, one is 20 apart in 16 % of weeks, and 30 in 0.2 %."""
    readings = [at(place, 120, day=1 + day, setting=setting) for day in range(sittings) for place in (0, 2)]
    readings[0] = at(0, 120 + apart, setting=setting)
    assert ("repeats-disagree" in fired(*readings)) is expected


def test_a_swapped_entry_is_no_pair_far_apart():
    assert "repeats-disagree" not in fired(at(0, 128), {**at(2, 80), "diastolic": 126})


@pytest.mark.parametrize(("far", "near", "third", "expected"), [
    (4, 3, False, True), (3, 3, False, False), (3, 4, False, False), (2, 0, False, False), (3, 0, True, True),
])  # fmt: skip
def test_pairs_of_a_home_series_are_told_where_more_than_half_lie_above_ten(far, near, third, expected):
    """The same source; half of at least three sittings, common practice."""
    apart = [12] * far + [4] * near
    readings = [at(2 * place, 130 + more * (1 - place), day=day)
                for day, more in enumerate(apart, start=1) for place in (0, 1, 2)[: 2 + third]]  # fmt: skip
    assert ("home-repeats-apart" in fired(*readings)) is expected
    lower = [one | {"systolic": 130, "diastolic": one["systolic"] - 50} for one in readings]
    assert ("home-repeats-apart" in fired(*lower)) is expected


@pytest.mark.parametrize(("sittings", "more", "expected"), [
    (3, 9, False), (3, 10, True), (3, 11, True), (2, 11, False), (4, 11, True),
])  # fmt: skip
def test_first_readings_count_as_higher_from_ten_over_three_sittings(sittings, more, expected):
    """Common practice; that later readings are lower: Salazar et al., J Hum Hypertens 2015;29:373."""
    readings = [at(2 * place, 130 + more * (1 - place), day=day) for day in range(1, sittings + 1) for place in (0, 1)]
    assert ("first-readings-higher" in fired(*readings)) is expected


def test_a_change_of_arm_or_device_between_home_sittings_is_named():
    """Common practice: the same arm and the same device throughout."""
    payload = week(site="left-upper-arm", device="d-1") | {"devices": [{"id": "d-1"}, {"id": "d-2"}]}
    changes = {"home-arms-changed", "home-devices-mixed"}
    assert changes & rules_fired(answer(payload)) == set()
    payload["readings"][-1] |= {"device": "d-2"}
    for one in payload["readings"][-2:]:
        one["site"] = "right-upper-arm"
    assert changes & rules_fired(answer(payload)) == changes
