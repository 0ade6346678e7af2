"""Whatever stands in the cells of a DataFrame is read, or named as a problem of its row; nothing fails."""

from datetime import UTC, date, datetime
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from heartlevel.frames import assess_frame
from heartlevel.tables.cells import cell_value
from heartlevel.tables.fields import FIELDS, REQUIRED
from heartlevel.tables.meanings import Meaning
from support import rules

ODD = ["\ud800", 10**400, -(10**30), float("inf"), b"120", Decimal(120), Decimal("NaN"), date(2026, 3, 2),
       datetime(2026, 3, 2, 7, 10, tzinfo=UTC), pd.Timestamp("2026-03-02"), np.datetime64("2026-03-02"), pd.NaT, pd.NA,
       {"a": ("\ud800",)}, {1, 2}, [["a"], {"b": 1}], [None, np.nan], (), np.array([1.5]), np.bool_(True), 1j, object,
       "x" * 5000, "", " ", True]  # fmt: skip


def good_rows(count: int) -> pd.DataFrame:
    taken_at = [f"2026-03-02T07:{minute:02d}:00Z" for minute in range(count)]
    return pd.DataFrame({"subject": "s-1", "taken_at": taken_at, "systolic": 120, "diastolic": 80, "setting": "home"})


@pytest.mark.parametrize("name", sorted(FIELDS))
def test_no_cell_is_too_odd_for_a_column(name):
    frame = good_rows(len(ODD))
    frame["subject"] = [f"s-{number}" for number in range(len(ODD))]
    frame[name] = pd.Series(ODD, dtype=object)
    result = assess_frame(frame, rules())
    assert len(result.problems)
    assert len(result.subjects) <= len(ODD)
    if name not in REQUIRED and not name.startswith("options."):
        assert result.readings["row"].tolist() == list(range(len(ODD))) or name == "unit"


@pytest.mark.parametrize(
    ("name", "cell", "value"),
    [
        ("systolic", " 1e2 ", 100.0),
        ("systolic", "18,5", 18.5),
        ("systolic", "1,420", "1,420"),
        ("systolic", "nan", None),
        ("systolic", float("inf"), "inf"),
        ("systolic", True, True),
        ("technique.talking", " TRUE", True),
        ("technique.talking", 1, 1),
        ("circumstances", "stress;pain quiet|work-day", ["stress", "pain", "quiet", "work-day"]),
        ("circumstances", ["stress"], ["stress"]),
        ("symptoms", "Chest pain", ["chest-pain"]),
        ("symptoms", "chest pain, nausea", ["chest-pain", "nausea"]),
        ("symptoms", "nausea weakness or numbness fall", ["nausea", "weakness-or-numbness", "fall"]),
        ("symptoms", "pain chest", ["pain", "chest"]),
        ("subject.treatment_changes", "2026-01-02 2026-02-03,2026-03-04", ["2026-01-02", "2026-02-03", "2026-03-04"]),
        ("circumstances", " ", None),
        ("subject", 7, "7"),
        ("subject", 7.0, "7"),
        ("subject", 1234567890123456.0, "1234567890123456"),
        ("subject", "07", "07"),
        ("setting", " home ", "home"),
    ],
)
def test_a_cell_says_the_same_wherever_it_stands(name, cell, value):
    read = cell_value(cell, Meaning(FIELDS[name]))
    assert (type(read), read) == (type(value), value)


def test_a_decimal_comma_and_another_unit_are_read_where_the_columns_are_said_to_have_them():
    assert cell_value("29,1", Meaning(FIELDS["subject.arm_circumference_cm.left"], 0.1), ",") == 2.91


def test_whole_numbers_with_one_missing_are_still_names():
    frame = good_rows(3).assign(subject=[7, None, 7])
    result = assess_frame(frame, rules())
    assert set(result.readings["subject"]) == {"7"}
    assert [(one.row, one.code) for one in result.problems.itertuples()] == [(1, "no-subject")]


def test_a_time_of_pandas_finer_than_a_second_is_no_other_time():
    times = pd.to_datetime(["2026-03-02T07:10:00.25Z", "2026-03-02T07:11:00Z", None], format="ISO8601")
    result = assess_frame(good_rows(3).assign(taken_at=times), rules())
    assert result.readings["id"].tolist() == ["@2026-03-02T07:10:00.250000+00:00", "@2026-03-02T07:11:00+00:00"]
    assert [(one.row, one.column, one.code) for one in result.problems.itertuples()] == [(2, "taken_at", "missing")]


def test_a_subject_with_more_readings_than_a_request_may_hold_is_named_and_costs_no_other():
    many = pd.concat([good_rows(60)] * 84, ignore_index=True).assign(subject="many")
    result = assess_frame(pd.concat([good_rows(1), many], ignore_index=True), rules())
    assert result.subjects["subject"].tolist() == ["s-1"]
    assert [(one.row, one.code) for one in result.problems.itertuples()] == [(1, "too-many-readings")]
