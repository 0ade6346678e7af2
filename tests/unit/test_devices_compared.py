"""Several devices of one person: their averages, and how far they differ."""

from itertools import combinations

import pandas
import pytest
from scipy import stats

from heartlevel.conclusions.followup.devices import MOST_COMPARED
from support import answer, reading
from unit.test_periods import CHANGED, home, request

DEVICES = [{"id": "d-1"}, {"id": "d-2"}]


def side_by_side(days: int = 7, apart: float = 6) -> list[dict]:
    """Morning sittings with both devices, a minute apart; the second reads higher, a little more from day to day."""
    return [
        reading(f"2026-03-{2 + day:02d}T07:0{minute}:00", 130 + day % 3 + extra, 80 + extra / 2, device=device)
        for day in range(days) for minute, device, extra in ((0, "d-1", 0), (1, "d-2", apart + day % 2))
    ]  # fmt: skip


def compared(*blocks, **more) -> dict:
    return answer(request(*blocks, devices=DEVICES, **more))


# reference library: scipy's paired t test
def test_the_difference_is_that_of_sittings_with_both_and_its_interval_that_of_a_paired_t_test():
    readings = side_by_side()
    (difference,) = compared(readings)["device_differences"]
    table = pandas.DataFrame(readings).pivot_table(index=pandas.DataFrame(readings)["taken_at"].str[:10],
                                                   columns="device", values="systolic")  # fmt: skip
    interval = stats.ttest_rel(table["d-1"], table["d-2"]).confidence_interval()
    assert (difference["devices"], difference["paired_by"], difference["pairs"]) == (["d-1", "d-2"], "sitting", 7)
    assert difference["systolic"]["mean"] == pytest.approx((table["d-1"] - table["d-2"]).mean(), abs=0.05)
    assert difference["systolic"]["interval95"] == pytest.approx([interval.low, interval.high], abs=0.06)


def test_devices_never_used_in_one_sitting_are_paired_by_day_or_not_at_all():
    mornings = [one for one in home("2026-03-02", 7, 130, 80, device="d-1") if "T07" in one["taken_at"]]
    evenings = [{**one, "device": "d-2"} for one in home("2026-03-02", 7, 126, 78) if "T20" in one["taken_at"]]
    (by_day,) = compared(mornings, evenings)["device_differences"]
    assert (by_day["paired_by"], by_day["pairs"], by_day["systolic"]["mean"]) == ("day", 7, 4.0)
    (apart,) = compared(mornings, home("2026-03-20", 7, 126, 78, device="d-2"))["device_differences"]
    assert (apart["paired_by"], apart["pairs"], apart["systolic"]) == (None, 0, {"mean": None, "interval95": None})


@pytest.mark.parametrize(("days", "known"), [(2, False), (3, True)])
def test_two_pairs_have_no_interval(days, known):
    (difference,) = compared(side_by_side(days))["device_differences"]
    assert (difference["systolic"]["interval95"] is not None) is known


def test_each_device_has_an_average_of_its_own():
    given = compared(side_by_side(4, apart=6))
    assert [(one["device"], one["readings"], one["days"], one["systolic"]) for one in given["devices"]] == [
        ("d-1", 4, 4, 130.8), ("d-2", 4, 4, 137.2)]  # fmt: skip


def test_one_device_is_not_compared_and_earlier_periods_are_left_out():
    assert compared(home("2026-03-02", 7, 130, 80, device="d-1"))["devices"] == []
    old = home("2026-01-05", 7, 150, 90, device="d-2")
    assert compared(old, home("2026-03-02", 7, 130, 80, device="d-1"), subject=CHANGED)["device_differences"] == []


def test_the_order_of_the_readings_plays_no_part():
    readings = side_by_side()
    assert compared(readings)["device_differences"] == compared(readings[::-1])["device_differences"]


def test_of_many_devices_those_with_most_readings_are_compared_and_each_has_its_average():
    names = [f"d-{number:02}" for number in range(MOST_COMPARED + 5)]
    readings = [
        reading(f"2026-03-02T{7 + number // 2:02}:{number % 2 * 30 + again:02}:00", 130, 80, device=name)
        for number, name in enumerate(names[:20]) for again in range(2)
    ] + [
        reading(f"2026-03-03T{7 + number:02}:00:00", 130, 80, device=name) for number, name in enumerate(names[20:])
    ]  # fmt: skip
    told = answer(request(readings, devices=[{"id": name} for name in names]))
    assert len(told["devices"]) == len(names)
    pairs = [tuple(difference["devices"]) for difference in told["device_differences"]]
    assert pairs == [*combinations(names[:MOST_COMPARED], 2)]
