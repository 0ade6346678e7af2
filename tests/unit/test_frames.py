"""Tables of readings: what is refused, what is named, what times and types are understood."""

import os
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

import heartlevel
from heartlevel import RefusedRequest
from heartlevel.frames import assess_frame
from heartlevel.intake.fields import Block, Part
from heartlevel.intake.schema import Device, Reading, Subject
from heartlevel.tables.batches import READINGS_TOGETHER
from heartlevel.tables.fields import FIELDS, OPTIONS
from support import answer, rules, week


def table(days: int = 7, subject: str = "s-1", **columns) -> pd.DataFrame:
    readings = pd.DataFrame(week(days)["readings"]).assign(subject=subject)
    return readings.assign(**columns)


def problems(frame: pd.DataFrame, **options) -> list[tuple]:
    found = assess_frame(frame, rules(), options).problems
    return [(one.row, one.column, one.code) for one in found.itertuples()]


def test_the_public_function_assesses_by_the_shipped_rules():
    result = heartlevel.assess(table(), time_zone="Europe/Oslo")
    assert result.subjects["category"].tolist() == [answer(week())["classification"]["category"]]


@pytest.mark.parametrize("package", ["pandas", "pyarrow"])
def test_the_service_does_not_load_what_only_tables_need(package):
    load = "import sys; from heartlevel.command.main import main; main.get_command(None, 'serve')"
    code = f"{load}; import heartlevel.web.server, heartlevel.web.application; sys.exit({package!r} in sys.modules)"
    place = {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    assert subprocess.run([sys.executable, "-c", code], env=place).returncode == 0


def test_an_unknown_column_is_named_with_the_one_that_was_probably_meant():
    result = assess_frame(table(1, **{"technique.back_suported": True}), rules())
    (one,) = result.problems.to_dict("records")
    assert (one["row"], one["column"], one["code"]) == (-1, "technique.back_suported", "unknown-key")
    assert one["hint"] == "did you mean 'technique.back_supported'?"
    assert len(result.readings) == 4


@pytest.mark.parametrize("name", ["subject", "taken_at", "systolic", "diastolic", "setting"])
def test_a_table_without_a_required_column_is_refused(name):
    with pytest.raises(RefusedRequest) as refused:
        assess_frame(table(1).drop(columns=name), rules())
    assert [(one.pointer, one.code) for one in refused.value.problems] == [(f"/{name}", "missing")]


def test_a_table_with_one_column_twice_is_refused():
    frame = table(1)
    with pytest.raises(RefusedRequest):
        assess_frame(pd.concat([frame, frame[["systolic"]]], axis=1), rules())


@pytest.mark.parametrize(
    "options",
    [
        {"guideline": "nobodys"},
        {"time_zone": "Mars/Base"},
        {"strict": True},
        {"also_under": ["esc-2024"]},
        {"zone": 1},
        {"population": None},
    ],
)
def test_an_option_at_fault_is_refused(options):
    with pytest.raises(RefusedRequest):
        assess_frame(table(1), rules(), options)


def test_the_earlier_of_two_descriptions_of_a_subject_is_taken_and_the_other_named():
    frame = pd.concat([table(1, "s-1"), table(1, "s-2")], ignore_index=True)
    frame["subject.age_years"] = [np.nan, 10, 41, 10, 50, 50, np.nan, 500]
    result = assess_frame(frame, rules())
    assert problems(frame) == [(2, "subject.age_years", "rows-differ"), (7, "subject.age_years", "rows-differ")]
    alone = assess_frame(frame.assign(**{"subject.age_years": [10] * 4 + [50] * 4}), rules())
    pd.testing.assert_frame_equal(result.subjects, alone.subjects)
    assert result.subjects["reason"].tolist() == ["below-the-age-the-guideline-classifies", "too-few-readings"]


def test_a_subject_first_described_by_what_cannot_be_read_is_assessed_without_that_detail():
    frame = pd.concat([table(1, "s-1"), table(1, "s-2")], ignore_index=True)
    frame["subject.age_years"] = [np.nan, 400, 40, 40, 50, 50, 50, 50]
    assert problems(frame) == [(1, "subject.age_years", "out-of-range"), (2, "subject.age_years", "rows-differ"),
                               (3, "subject.age_years", "rows-differ")]  # fmt: skip
    found = assess_frame(frame, rules())
    assert found.subjects["reason"].tolist() == ["limits-unclear", "too-few-readings"]
    assert found.readings["subject"].tolist() == ["s-1"] * 4 + ["s-2"] * 4


def test_a_column_that_may_be_a_detail_misspelt_leaves_the_limits_unclear_and_one_that_may_not_does_not():
    for name, value, reason in (
        ("subject.pregnent", 1, "limits-unclear"), ("subject.gravid", 1, "limits-unclear"),
        ("subject.wrist_circumference", 1, "too-few-readings"), ("subject.sex", "f", "too-few-readings"),
        ("ward", 1, "too-few-readings"),
    ):  # fmt: skip
        found = assess_frame(table(1, **{name: [value] * 4}), rules())
        assert (found.subjects["reason"].tolist(), len(found.readings)) == ([reason], 4)


def test_of_a_half_read_list_of_a_subject_what_could_be_read_is_listed():
    found = assess_frame(table(1, site="left-upper-arm", **{"subject.avoid_arms": ["left;rihgt"] * 4}), rules())
    assert "arm-to-avoid" in set(found.findings["rule"])
    assert {(one.column, one.code) for one in found.problems.itertuples()} == {("subject.avoid_arms", "not-one-of")}


def test_dates_with_the_same_digits_are_not_the_same():
    frame = table(1, **{"subject.treatment_since": ["2026-01-12", "2026-01-21", "2026-01-12", "2026-01-12"]})
    assert problems(frame) == [(1, "subject.treatment_since", "rows-differ")]


@pytest.mark.parametrize(
    ("name", "cells", "code"),
    [("systolic", ["120", "word", " 121 ", "122"], "not-a-number"),
     ("technique.talking", ["True", "word", "false", ""], "not-true-or-false")],
)  # fmt: skip
def test_a_word_among_numbers_or_truths_costs_only_its_own_row_though_it_makes_texts_of_them_all(name, cells, code):
    frame = table(1, **{name: cells})
    assert problems(frame) == [(1, name, code)]
    found, lost = assess_frame(frame, rules()), 1 if name == "systolic" else 0
    assert len(found.readings) == 4 - lost
    read = {"systolic": [120, np.nan, 121, 122], "technique.talking": [True, None, False, None]}[name]
    alike = assess_frame(frame.assign(**{name: pd.Series(read, dtype=object)}), rules())
    pd.testing.assert_frame_equal(found.findings, alike.findings)


def test_a_row_of_nobody_is_named_and_costs_no_other():
    frame = table(1, subject=["s-1", None, "s-1", "s-1"])
    assert problems(frame) == [(1, "subject", "no-subject")]
    assert assess_frame(frame, rules()).readings["row"].tolist() == [0, 2, 3]


def test_a_subject_none_of_whose_readings_can_be_read_is_there_with_none():
    found = assess_frame(table(1, systolic=900), rules()).subjects
    assert found[["subject", "readings", "reason"]].values.tolist() == [["s-1", 0, "too-few-readings"]]


def test_an_empty_table_gives_empty_tables():
    result = assess_frame(table(1).iloc[:0], rules())
    assert [len(getattr(result, name)) for name in ("readings", "findings", "averages", "subjects", "problems")] == [0] * 5


def test_the_order_of_rows_and_the_index_play_no_part():
    frame = table(4)
    shuffled = frame.sample(frac=1, random_state=1)
    result, other = assess_frame(frame, rules()), assess_frame(shuffled, rules())
    pd.testing.assert_frame_equal(result.averages, other.averages)
    pd.testing.assert_frame_equal(result.readings.drop(columns="row"), other.readings.drop(columns="row"))


def test_many_subjects_have_the_same_results_as_one_alone():
    count = READINGS_TOGETHER // 28 + 3
    frame = pd.concat([table(7, f"s-{place}") for place in range(count)], ignore_index=True)
    together, alone = assess_frame(frame, rules()), assess_frame(table(7, f"s-{count - 1}"), rules())
    for name in ("averages", "subjects", "findings"):
        found, one = getattr(together, name), getattr(alone, name)
        same = found[found["subject"] == f"s-{count - 1}"].reset_index(drop=True)
        drop = ["first_row"] if name == "findings" else []
        pd.testing.assert_frame_equal(same.drop(columns=drop), one.drop(columns=drop))
    assert len(together.readings) == len(frame)


@pytest.mark.parametrize("zone", [None, "Europe/Oslo", "Asia/Kathmandu"])
def test_times_of_pandas_are_those_that_their_texts_would_be(zone):
    frame = table(4)
    options = {"time_zone": zone} if zone else {}
    expected = assess_frame(frame, rules(), options)
    for of_zone in ("Etc/GMT-1", "UTC"):
        clock = pd.to_datetime(frame["taken_at"]).dt.tz_convert(of_zone)
        result = assess_frame(frame.assign(taken_at=clock), rules(), options)
        if zone or of_zone != "UTC":  # without a zone, days are those of the time's own offset
            pd.testing.assert_frame_equal(result.averages, expected.averages)


def test_times_of_pandas_without_zone_need_one():
    frame = table(1)
    clock = pd.to_datetime(frame["taken_at"]).dt.tz_localize(None)
    assert {code for _, _, code in problems(frame.assign(taken_at=clock))} == {"no-offset"}
    assert problems(frame.assign(taken_at=clock), time_zone="Europe/Oslo") == []


@pytest.mark.parametrize("dtype", [object, "category"])
def test_the_type_of_a_column_plays_no_part(dtype):
    frame = table(4, site="left-upper-arm", circumstances="stress;pain", **{"technique.talking": True})
    expected = assess_frame(frame, rules())
    columns = ["site", "setting", "circumstances", "subject", "id"] + (["technique.talking"] if dtype is object else [])
    found = assess_frame(frame.astype(dict.fromkeys(columns, dtype)), rules())
    for name in ("findings", "averages", "subjects", "readings"):
        pd.testing.assert_frame_equal(getattr(found, name), getattr(expected, name))
    assert "talking" in set(expected.findings["rule"])


def test_lists_are_taken_as_texts_in_parts_are():
    frame = table(4)
    as_text = assess_frame(frame.assign(circumstances="stress;pain"), rules())
    as_list = assess_frame(frame.assign(circumstances=[["stress", "pain"]] * len(frame)), rules())
    pd.testing.assert_frame_equal(as_text.findings, as_list.findings)


def test_what_is_said_of_the_device_stands_in_columns():
    frame = table(2, site="left-upper-arm", **{"cuff.arm_min_cm": 22, "cuff.arm_max_cm": 32,
                                               "subject.age_years": 50,
                                               "subject.arm_circumference_cm.left": 40})  # fmt: skip
    payload = week(2, site="left-upper-arm", device="d")
    payload["devices"] = [{"id": "d", "cuff": {"arm_min_cm": 22, "arm_max_cm": 32}}]
    payload["subject"]["arm_circumference_cm"] = {"left": 40}
    fired = set(assess_frame(frame, rules()).findings["rule"])
    assert {one["rule"] for one in answer(payload)["findings"]} == fired
    assert any("cuff" in one for one in fired)


def leaves(block: Block) -> list:
    inner = [leaves(one.schema) if isinstance(one, Part) else [one] for one in block.fields.values()]
    return [leaf for several in inner for leaf in several]


def test_every_field_of_subject_reading_and_device_is_a_column():
    declared = [leaf for block in (Subject(), Reading(), Device()) for leaf in leaves(block)]
    columns = [name for name, field in FIELDS.items() if field.part != OPTIONS]
    # The device's id is the reading's `device`; symptoms of days are objects, which no cell holds.
    assert len(columns) == len(declared) - 2
    assert {"subject", "taken_at", "technique.back_supported", "cuff.arm_min_cm", "device", "device.method"} <= set(columns)


def test_kilopascals_are_converted_as_in_a_request():
    payload = week(1, pressures=((17.1, 11), (16.8, 10.9)), unit="kPa")
    frame = pd.DataFrame(payload["readings"]).assign(subject="s-1")
    found = assess_frame(frame, rules()).readings
    assert [round(one, 1) for one in found["systolic"]] == [one["systolic"] for one in answer(payload)["readings"]]
    assert found["systolic"].between(120, 130).all()
