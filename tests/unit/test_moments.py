"""When readings were taken: the clock changes, midnight, copies, names, and pressures in another unit.

The clock changes of Europe/Oslo in 2026 (29 March, 02:00 becomes 03:00; 25 October, 03:00 becomes 02:00; both at
01:00 UTC) follow from the rule of the European Union, last Sunday of March and October, from memory.
"""

import pytest

from heartlevel.intake.moments import number_repeated_names
from support import answer, reading, rules_fired

# UCUM, definition of the metre of mercury column: m[Hg] = 133.3220 kPa.
KPA_PER_MMHG = 0.133322
OSLO = {"time_zone": "Europe/Oslo"}


def asked(*readings: dict, options: dict | None = None) -> dict:
    return answer({"subject": {"id": "s-1"}, "readings": list(readings), "options": OSLO if options is None else options})


def at(*times: str, options: dict | None = None) -> dict:
    """Ask about readings of different pressures at these times."""
    return asked(*(reading(time, 120 + place, 80, id=f"r-{place}") for place, time in enumerate(times)), options=options)


def named(whole: dict) -> list[str]:
    return [one["id"] for one in whole["readings"]]


def told(whole: dict) -> list[tuple[str, str]]:
    return [(one["pointer"], one["code"]) for one in whole["problems"]]


@pytest.mark.parametrize("time", ["2026-03-29T02:00:00", "2026-03-29T02:30:00", "2026-03-29T02:59:59"])
def test_a_time_the_clocks_skipped_in_spring_is_no_time(time):
    whole = at(time, "2026-03-29T12:00:00")
    assert (named(whole), told(whole)) == (["r-1"], [("/readings/0/taken_at", "no-such-local-time")])


@pytest.mark.parametrize("time", ["2026-10-25T02:00:00", "2026-10-25T02:30:00", "2026-10-25T02:59:59"])
def test_a_time_the_clocks_showed_twice_is_named_and_the_first_is_taken(time):
    # 00:59:59 UTC is the last second of summer time; the second showing begins at 01:00 UTC.
    whole = at(time, "2026-10-25T00:59:59.5Z", "2026-10-24T23:59:59Z")
    assert named(whole) == ["r-2", "r-0", "r-1"]
    assert told(whole) == [("/readings/0/taken_at", "ambiguous-local-time")]
    assert whole["coverage"]["by_hour"] == {"1": 1, "2": 2}


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
@pytest.mark.parametrize("clock", ["01:59:59", "03:00:00"])
def test_the_seconds_around_a_clock_change_are_ordinary_times(day, clock):
    assert told(at(f"{day}T{clock}")) == []


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_an_offset_says_which_hour_was_meant(day):
    whole = at(f"{day}T02:30:00+02:00", f"{day}T02:30:00+01:00")
    assert (named(whole), told(whole)) == (["r-0", "r-1"], [])


@pytest.mark.parametrize(
    ("time", "hour"),
    [
        ("2026-03-29T00:59:59Z", "1"), ("2026-03-29T01:00:00Z", "3"),
        ("2026-10-25T00:30:00Z", "2"), ("2026-10-25T01:30:00Z", "2"), ("2026-10-25T02:30:00Z", "3"),
        ("2026-03-29T02:30:00+01:00", "3"), ("2026-07-01T23:30:00-04:00", "5"),
    ],
)  # fmt: skip
def test_hours_are_those_of_the_zones_clock_before_and_after_its_changes(time, hour):
    assert at(time)["coverage"]["by_hour"] == {hour: 1}


def test_without_a_zone_a_reading_has_the_hour_it_was_sent_with():
    assert at("2026-07-01T23:30:00-04:00", options={})["coverage"]["by_hour"] == {"23": 1}
    assert told(at("2026-07-01T23:30:00", options={})) == [("/readings/0/taken_at", "no-offset")]


@pytest.mark.parametrize(
    ("times", "days"),
    [
        (("2026-03-02T23:50:00", "2026-03-03T00:10:00"), 2),
        (("2026-03-02T22:50:00Z", "2026-03-02T23:10:00Z"), 2),
        (("2026-03-02T23:50:00Z", "2026-03-03T00:10:00Z"), 1),
        (("2026-03-29T00:10:00+01:00", "2026-03-29T23:50:00+02:00"), 1),  # a day of 23 hours
        (("2026-10-25T00:10:00+02:00", "2026-10-25T23:50:00+01:00"), 1),  # a day of 25 hours
        (("2026-10-24T21:59:59Z", "2026-10-24T22:00:00Z"), 2),  # midnight in summer time
        (("2026-10-25T22:59:59Z", "2026-10-25T23:00:00Z"), 2),  # midnight a day later, in winter time
    ],
)
def test_days_are_the_zones_calendar_days(times, days):
    assert at(*times)["coverage"]["days"] == days


def test_the_same_date_counts_once_whatever_the_offsets_of_its_readings():
    """Two calendar dates were written, 1 and 2 March; sorted by instant they alternate."""
    times = ("2026-03-02T00:10:00+02:00", "2026-03-01T22:50:00+00:00", "2026-03-02T02:00:00+02:00")
    assert at(*times, options={})["coverage"]["days"] == 2


@pytest.mark.parametrize(("last", "too_many"), [("2026-03-03T00:30:00", True), ("2026-03-03T00:39:59", True),
                                                ("2026-03-03T00:40:00", False)])  # fmt: skip
def test_a_sitting_goes_on_over_midnight_until_half_an_hour_is_between(last, too_many):
    """Five readings of one sitting are too many; the fifth is of another sitting where the gap is long enough."""
    whole = at("2026-03-02T23:30:00", "2026-03-02T23:40:00", "2026-03-02T23:50:00", "2026-03-03T00:10:00", last)
    assert ("too-many-inflations" in rules_fired(whole), whole["coverage"]["days"]) == (too_many, 2)


def test_a_sitting_goes_on_over_the_hour_the_clocks_skip_or_show_twice():
    skipped = ("2026-03-29T01:40:00", "2026-03-29T01:45:00", "2026-03-29T01:50:00", "2026-03-29T01:55:00",
               "2026-03-29T03:05:00")  # fmt: skip
    shown_twice = ("2026-10-25T02:40:00+02:00", "2026-10-25T02:45:00+02:00", "2026-10-25T02:50:00+02:00",
                   "2026-10-25T02:55:00+02:00", "2026-10-25T02:40:00+01:00")  # fmt: skip
    assert "too-many-inflations" in rules_fired(at(*skipped))
    assert "too-many-inflations" not in rules_fired(at(*shown_twice))


@pytest.mark.parametrize("again", ["2026-03-02T07:10:00+01:00", "2026-03-02T06:10:00Z", "2026-03-02T01:10:00-05:00",
                                   "2026-03-02 06:10z", "2026-03-02T07:10:00.000", "2026-03-02T07:10"])  # fmt: skip
def test_a_copy_is_left_out_however_its_time_is_written(again):
    whole = asked(reading("2026-03-02T07:10:00+01:00", 142, 88, id="a"), reading(again, 142, 88, id="b"))
    assert (named(whole), told(whole)) == (["a"], [("/readings/1", "exact-duplicate")])


def test_which_copy_is_left_out_depends_on_names_and_not_on_the_order_sent():
    copies = [reading("2026-03-02T07:10:00+01:00", 142, 88, id=name) for name in ("r-10", "r-9", "r-2")]
    whole = asked(*copies)
    assert named(whole) == ["r-2"]
    assert told(whole) == [("/readings/0", "exact-duplicate")]
    assert whole["problems"][0]["places"] == ["/readings/0", "/readings/1"]


@pytest.mark.parametrize("difference", [{"systolic": 143}, {"diastolic": 88.1}, {"pulse": 70}, {"setting": "office"},
                                        {"technique": {"talking": True}}, {"taken_at": "2026-03-02T07:10:01+01:00"},
                                        {"taken_at": "2026-03-02T07:10:00.001+01:00"}])  # fmt: skip
def test_readings_that_differ_in_anything_measured_are_no_copies(difference):
    one = reading("2026-03-02T07:10:00+01:00", 142, 88)
    whole = asked({**one, "id": "a"}, {**one, "id": "b", **difference})
    assert (sorted(named(whole)), told(whole)) == (["a", "b"], [])


def test_a_copy_in_kilopascals_is_a_copy_only_where_it_is_the_same_pressure_exactly():
    """Only the same number to the last digit is the same pressure: 16 kPa is 120.0102 mm[Hg], not 120."""
    time, factor = "2026-03-02T07:10:00+01:00", 1000 / 133.322
    kilopascals = reading(time, 16, 8, id="a", unit="kPa")
    exactly = asked(kilopascals, reading(time, 16 * factor, 8 * factor, id="b", unit="mm[Hg]"))
    rounded = asked(kilopascals, reading(time, 120, 60, id="b"))
    assert (named(exactly), told(exactly)) == (["a"], [("/readings/1", "exact-duplicate")])
    assert (named(rounded), told(rounded)) == (["a", "b"], [])


def test_a_name_used_twice_is_numbered_in_the_order_of_time():
    times = ("2026-03-02T08:00:00", "2026-03-02T07:00:00", "2026-03-02T09:00:00")
    whole = asked(*(reading(time, 120 + place, 80, id="r") for place, time in enumerate(times)))
    assert [(one["id"], one["systolic"]) for one in whole["readings"]] == [("r", 121), ("r#2", 120), ("r#3", 122)]
    assert told(whole) == [("/readings/0/id", "id-repeated"), ("/readings/2/id", "id-repeated")]
    assert [one["hint"] for one in whole["problems"]] == [f"this one is called 'r#{n}' in the answer" for n in (2, 3)]


def test_a_numbered_name_never_takes_a_name_that_was_given():
    whole = asked(*(reading(f"2026-03-02T0{hour}:00:00", 120, 80, id=name) for hour, name in enumerate(["r", "r", "r#2"])))
    assert len(set(named(whole))) == 3


def test_readings_without_a_name_are_called_by_their_time_and_are_no_problem():
    whole = asked(reading("2026-03-02T07:10:00+01:00", 142, 88), reading("2026-03-02T07:10:00+01:00", 140, 88))
    assert named(whole) == ["@2026-03-02T07:10:00+01:00", "@2026-03-02T07:10:00+01:00#2"]
    assert told(whole) == []


@pytest.mark.parametrize(("systolic", "diastolic"), [(16, 10), (18.7, 12.4), (13.3322, 6.6661), (53.3, 2)])
def test_kilopascals_are_converted_by_the_figure_of_ucum(systolic, diastolic):
    (found,) = asked(reading("2026-03-02T07:10:00", systolic, diastolic, unit="kPa"))["readings"]
    # Half a unit in the last place the answer shows.
    assert found["systolic"] == pytest.approx(systolic / KPA_PER_MMHG, abs=0.05001)
    assert found["diastolic"] == pytest.approx(diastolic / KPA_PER_MMHG, abs=0.05001)


@pytest.mark.parametrize(
    ("systolic", "diastolic", "fields"),
    [(142, 88, ["diastolic", "systolic"]), (53.4, 12, ["systolic"]), (18, 54, ["diastolic"])],
)
def test_a_value_no_pressure_reaches_in_kilopascals_is_a_mistaken_unit(systolic, diastolic, fields):
    """400 mm[Hg], the highest number read as a pressure, is 53.33 kPa."""
    whole = asked(reading("2026-03-02T07:10:00", systolic, diastolic, unit="kPa"), reading("2026-03-02T08:00:00", 142, 88))
    assert [one["systolic"] for one in whole["readings"]] == [142]
    assert told(whole) == [(f"/readings/0/{field}", "unit-mistaken") for field in fields]
    assert {one["hint"] for one in whole["problems"]} == {"was the unit mm[Hg] instead of kPa?"}


def test_fractions_of_a_second_count():
    whole = at("2026-03-02T07:10:00.75+01:00", "2026-03-02T07:10:00.5+01:00", "2026-03-02T07:10:00.123456789+01:00")
    assert (named(whole), told(whole)) == (["r-2", "r-1", "r-0"], [])


@pytest.mark.parametrize("time", ["2026-03-02t06:10:00z", "2026-03-02T06:10:00z", "2026-03-02t07:10:00+01:00",
                                  "2026-03-02 06:10:00Z", "2026-03-02T06:10Z", "2026-03-01T23:10:00-07:00"])  # fmt: skip
def test_the_forms_of_rfc_3339_are_one_time(time):
    """RFC 3339, section 5.6: "T" and "Z" may be lower case, and a space may stand for "T"."""
    whole = at(time)
    assert (told(whole), whole["coverage"]["by_hour"]) == ([], {"7": 1})


@pytest.mark.parametrize("time", ["2026-03-02 07:10:00+01", "2026-03-02 07:10:00+0100",
                                  "2026-03-02 06:10:00.0000000 +00:00",
                                  "2026-03-02 06:10:00 UTC", "2026-03-02 07:10:00,5+01:00", "20260302T071000+0100",
                                  "20260302T061000Z", "20260302T0610Z", "20260302 071000", " 2026-03-02 07:10\n",
                                  "2026-03-02  07:10:00"])  # fmt: skip
def test_times_as_databases_write_them_and_in_the_basic_format_are_one_time(time):
    """ISO 8601: the basic format leaves hyphens and colons out, an offset may be hours, decimals may follow a comma."""
    whole = at(time)
    assert (told(whole), whole["coverage"]["by_hour"]) == ([], {"7": 1})


NO_TIMES = ["2026-03-02", "07:10", "2026-02-29T07:10:00Z", "2026-03-02T24:00:00Z", "2026-03-02T07:60:00Z",
            "2026-03-02T07:10:60Z", "2026-03-02T07:10:00+1", "2026-03-02T07:10:00+24:00", "2026-0302T07:10:00Z",
            "2026-03-02T07:1000Z", "20260302", "02-03-2026 07:10:00Z", "1899-12-31T07:10:00Z", "2026-03-0\u0662T07:10:00Z",
            "2026-03-02T07:10:00.Z", "2026-W10-1T07:10:00Z"]  # fmt: skip


@pytest.mark.parametrize("time", NO_TIMES)
def test_what_is_no_time_is_named_and_the_reading_left_out(time):
    whole = at(time, "2026-03-02T08:00:00Z")
    assert (named(whole), told(whole)) == (["r-1"], [("/readings/0/taken_at", "not-a-time")])


class Named:
    """A reading with a name, which counts how often it is named anew."""

    def __init__(self, name: str, index: int) -> None:
        self.index, self.data, self.times, self._name = index, {"id": name}, 0, name

    @property
    def name(self) -> str:
        return self._name

    @name.setter
    def name(self, name: str) -> None:
        self.times, self._name = self.times + 1, name


def test_readings_of_one_name_are_numbered_in_a_few_steps_each():
    """Each was numbered from the beginning: five thousand of one name took two seconds."""
    readings = [Named("x", number) for number in range(300)] + [Named("x#7", 300), Named("x#301", 301), Named("x", 302)]
    told = number_repeated_names(readings)
    names = [reading.name for reading in readings]
    assert names == ["x", *(f"x#{number}" for number in range(2, 301)), "x#7#2", "x#301", "x#302"]
    assert len(told) == 301 and max(reading.times for reading in readings) <= 3
