"""Bytes of a device's Bluetooth service.

Layout and special values: Bluetooth SIG, Blood Pressure Service 1.1 and IEEE 11073-20601 (SFLOAT), both
published-from-memory.
The bytes of the examples are put together here from the layout, by struct, and not by what reads them.
"""

import json
import struct
from base64 import b64encode
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from heartlevel.intake.bluetooth.expanding import bytes_in, expanded
from heartlevel.intake.bluetooth.measurement import announced_length, details_of, measurement_in, sfloat
from support import answer, assess_in_process, reading

# 128/82 mmHg, mean 97; 2026-03-02 07:10:00; pulse 61; user 1; no status.
WHOLE = bytes.fromhex("0e800052006100ea070302070a003d0001")
SEVERE = bytes.fromhex("02e1008200a100ea070302070a00")  # 225/130 at the same time
OSLO = {"time_zone": "Europe/Oslo"}


def person(*readings: dict, **options) -> dict:
    return {"subject": {"id": "s"}, "readings": list(readings), "options": {**OSLO, **options}}


def sent(content: bytes | str, **more) -> dict:
    return {"payload": content if isinstance(content, str) else content.hex(), "setting": "home", **more}


def encoded(mantissa: int, exponent: int) -> int:
    return (exponent & 0xF) << 12 | mantissa & 0xFFF


def test_a_payload_is_assessed_as_the_reading_it_is():
    (told,) = answer(person(sent(WHOLE)))["readings"]
    plain = reading("2026-03-02T07:10:00", 128, 82, pulse=61)
    (same,) = answer(person(plain))["readings"]
    assert told == same
    assert answer(person(sent(WHOLE)))["averages"] == answer(person(plain))["averages"]


@pytest.mark.parametrize(
    "text",
    [WHOLE.hex(), WHOLE.hex().upper(), "0x" + WHOLE.hex(), WHOLE.hex(" "), WHOLE.hex(":"), WHOLE.hex("-"),
     b64encode(WHOLE).decode(), f" {WHOLE.hex()}\n"],
)  # fmt: skip
def test_bytes_are_hexadecimal_or_base64(text):
    assert bytes_in(text) == WHOLE


@given(st.integers(0, 255).flatmap(lambda flags: st.binary(min_size=announced_length(flags) - 1, max_size=announced_length(
    flags) - 1).map(lambda rest: bytes([flags]) + rest)))  # fmt: skip
def test_a_text_that_may_be_both_is_the_one_of_the_length_that_it_announces(content):
    assert content in (bytes_in(content.hex()), bytes_in(b64encode(content).decode()))
    assert bytes_in(content.hex()) == content


@pytest.mark.parametrize("text", ["", "zz", "0", "not bytes!", 7, None, [], "ab" * 200, "é"])
def test_what_is_no_bytes_is_named(text):
    assert bytes_in(text) is None


# IEEE 11073-20601: the five values that are no numbers.
SPECIALS = {0x07FF: "NaN", 0x0800: "NRes", 0x07FE: "+INFINITY", 0x0802: "-INFINITY", 0x0801: "a reserved value"}


@pytest.mark.parametrize(("number", "name"), SPECIALS.items())
def test_a_special_value_is_no_number_and_named(number, name):
    assert sfloat(number) == name
    content = struct.pack("<BHHH", 0, 225, number, 0)
    told = answer(person(sent(content, taken_at="2026-03-02T07:10:00")))
    (problem,) = told["problems"]
    assert (problem["code"], problem["places"]) == ("no-measured-value", ["/readings/0/payload"])
    assert name in problem["detail"]
    assert (told["urgent"], told["counts"]["lost_because"]) == (True, {"no-measured-value": 1})


@pytest.mark.parametrize(
    ("number", "value"),
    [(0x0072, 114.0), (0xF4A6, 119.0), (0xF06E, 11.0), (0xE672, 16.5), (0x1008, 80.0), (0x0FFF, -1.0), (0x07FD, 2045.0),
     (0xF803, -204.5)],
)  # fmt: skip
def test_numbers_worked_out_by_hand(number, value):
    # 0xF4A6: exponent -1, mantissa 0x4A6 = 1190; 0xE672: exponent -2, mantissa 0x672 = 1650.
    assert sfloat(number) == value


@given(st.integers(-0x7FD, 0x7FD), st.integers(-8, 7))
def test_every_number_is_its_mantissa_and_decimal_exponent(mantissa, exponent):
    number = encoded(mantissa, exponent)
    assume(number not in SPECIALS)
    assert sfloat(number) == float(Decimal(mantissa).scaleb(exponent))


@st.composite
def measurements(draw) -> tuple[bytes, dict]:
    """A measurement with any of the parts that flags announce, and what it says."""
    flags, said = draw(st.integers(0, 31)), {}
    content = struct.pack("<B", flags)
    for name in ("systolic", "diastolic", "mean_arterial"):
        said[name] = draw(st.integers(20, 250))
        content += struct.pack("<H", said[name])
    if flags & 2:
        said["time"] = draw(st.datetimes().filter(lambda moment: moment.year > 1582)).replace(microsecond=0)
        content += struct.pack("<HBBBBB", *said["time"].timetuple()[:6])
    if flags & 4:
        said["pulse"] = draw(st.integers(30, 200))
        content += struct.pack("<H", said["pulse"])
    if flags & 8:
        said["user"] = draw(st.integers(0, 255))
        content += struct.pack("<B", said["user"])
    if flags & 16:
        said["status"] = draw(st.integers(0, 0xFFFF))
        content += struct.pack("<H", said["status"])
    return content, said | {"kilopascals": bool(flags & 1)}


@given(measurements())
def test_each_combination_of_flags_is_read(measured):
    content, said = measured
    found = measurement_in(content)
    assert announced_length(content[0]) == len(content)
    assert found.values == {name: value for name, value in said.items() if name in (
        "systolic", "diastolic", "mean_arterial", "pulse")}  # fmt: skip
    assert found.taken_at == (said["time"].isoformat() if "time" in said else None)
    assert found.user == (None if said.get("user") == 255 else said.get("user"))
    assert (found.status, found.kilopascals) == (said.get("status"), said["kilopascals"])


@given(measurements(), st.integers(0, 18), st.booleans())
def test_what_is_cut_off_is_a_named_problem_and_never_another_number(measured, length, as_base64):
    content, _ = measured
    cut = content[:length]
    assume(len(cut) < len(content))
    found, whole = measurement_in(cut), measurement_in(content)
    assert found.values.items() <= whole.values.items()
    assert found.taken_at in (None, whole.taken_at) and found.user in (None, whole.user)
    text = b64encode(cut).decode() if as_base64 else cut.hex()
    told = answer(person(sent(text, taken_at="2026-03-02T07:10:00")))
    codes = {problem["code"] for problem in told["problems"]}
    assert codes & {"payload-too-short", "payload-not-bytes", "payload-too-long"}


def test_a_severe_pressure_before_the_cut_is_urgent_and_the_reading_used_if_its_time_is_known():
    told = answer(person(sent(SEVERE[:9], taken_at="2026-03-02T07:10:00")))
    assert (told["urgent"], told["counts"]["assessed"], told["problems"][0]["code"]) == (True, 1, "payload-too-short")
    lost = answer(person(sent(SEVERE[:9])))
    assert (lost["urgent"], lost["counts"]["lost_because"]) == (True, {"payload-too-short": 1})


def test_a_severe_payload_is_urgent_in_a_request_that_is_refused():
    from heartlevel import RefusedRequest

    with pytest.raises(RefusedRequest) as refused:
        answer({"subject": {}, "readings": [sent(SEVERE)]})
    assert refused.value.urgency["level"] in ("now", "same-day")


def test_kilopascals_are_read_by_their_flag():
    content = struct.pack("<BHHH", 1, encoded(165, -1), encoded(105, -1), 0)
    (told,) = answer(person(sent(content, taken_at="2026-03-02T07:10:00")))["readings"]
    assert (told["systolic"], told["diastolic"]) == (123.8, 78.8)


# Blood Pressure Feature: bit 0 movement, 1 cuff fit, 2 irregular pulse, 3 pulse range, 4 position.
@given(st.integers(0, 0x3F), st.none() | st.integers(0, 0x3F))
def test_a_bit_that_is_not_set_means_no_only_where_the_device_can_tell(status, feature):
    told = details_of(status, feature)
    bits = {
        "body_movement": 1,
        "cuff_loose": 2,
        "irregular_pulse": 4,
        "pulse_out_of_range": 0b11000,
        "position_improper": 32,
    }
    for number, (name, bit) in enumerate(bits.items()):
        able = feature is not None and bool(feature & 1 << number)
        assert told.get(name) is (True if status & bit else False if able else None)


def test_the_status_and_the_feature_make_the_device_status():
    content = struct.pack("<BHHHH", 16, 128, 82, 97, 0b101)
    (one,) = expanded([sent(content, payload_feature="0700")]).readings
    assert one["device_status"] == {"body_movement": True, "cuff_loose": False, "irregular_pulse": True}
    (other,) = expanded([sent(content)]).readings
    assert other["device_status"] == {"body_movement": True, "irregular_pulse": True}
    wrong = answer(person(sent(content, taken_at="2026-03-02T07:10:00", payload_feature="zz")))
    assert [problem["places"] for problem in wrong["problems"]] == [["/readings/0/payload_feature"]]


def test_a_slip_is_placed_at_the_bytes_that_hold_the_number():
    swapped = struct.pack("<BHHH", 0, 82, 128, 97)
    told = answer(person(sent(WHOLE), sent(swapped, taken_at="2026-03-03T07:10:00")))
    assert [one["places"] for one in told["problems"]] == [["/readings/1/payload"]]


@pytest.mark.parametrize("beside", [{}, {"systolic": None}, {"systolic": 120}])
def test_a_number_out_of_range_is_placed_at_the_bytes_that_hold_it(beside):
    tiny = struct.pack("<BHHH", 0, encoded(1815, -6), 82, 97)
    told = answer(person(sent(tiny, taken_at="2026-03-02T07:10:00", **beside)))["problems"]
    assert [fault["places"] for fault in told if fault["code"] == "out-of-range"] == [["/readings/0/payload"]]


def test_a_time_that_was_sent_counts_before_the_devices_and_an_unknown_one_is_missing():
    (told,) = expanded([sent(WHOLE, taken_at="2026-03-02T06:10:00Z")]).readings
    assert told["taken_at"] == "2026-03-02T06:10:00Z"
    unset = WHOLE[:7] + bytes(7) + WHOLE[14:]
    (problem,) = answer(person(sent(unset)))["problems"]
    assert (problem["code"], problem["places"]) == ("missing", ["/readings/0/payload"])
    (problem,) = answer({**person(sent(WHOLE)), "options": {}})["problems"]
    assert (problem["code"], problem["places"]) == ("no-offset", ["/readings/0/payload"])


def test_another_pressure_beside_the_bytes_is_named_and_readings_of_another_user_too():
    told = answer(person(sent(WHOLE, systolic=138), sent(SEVERE)))
    assert [(one["code"], one["places"]) for one in told["problems"]] == [("not-both", ["/readings/0/systolic"])]
    other = WHOLE[:-1] + b"\x02"
    users = answer(
        person(sent(WHOLE), sent(WHOLE, taken_at="2026-03-02T20:00:00"), sent(other, taken_at="2026-03-03T07:00:00"))
    )
    assert [(one["code"], one["places"]) for one in users["problems"]] == [("another-user", ["/readings/2/payload"])]


@given(
    st.lists(st.one_of(st.none(), st.integers(), st.text(max_size=30), st.binary(max_size=22).map(bytes.hex)), max_size=3)
)
def test_whatever_a_payload_is_the_others_are_assessed(payloads):
    damaged = [{"payload": payload, "setting": "home", "taken_at": "2026-03-05T07:00:00"} for payload in payloads]
    told = answer(person(sent(WHOLE), *damaged))
    assert told["counts"]["received"] == len(payloads) + 1
    assert "2026-03-02T07:10:00" in told["readings"][0]["id"]


@pytest.mark.parametrize("head", ["subject,payload,setting", "subject,payload,setting,systolic,diastolic,taken_at"])
def test_a_column_of_bytes_stands_in_the_place_of_columns_of_numbers(tmp_path, head):
    table, out = tmp_path / "rows.csv", tmp_path / "out.ndjson"
    empty = "," * (head.count(",") - 2)
    table.write_text(f"{head},options.time_zone\ns-1,{WHOLE.hex()},home{empty},Europe/Oslo\n"
                     f"s-1,{SEVERE[:5].hex()},home{empty},Europe/Oslo\n", encoding="utf-8")  # fmt: skip
    result = assess_in_process(str(table), "--output", str(out), "--problems", str(tmp_path / "problems"))
    told = json.loads(out.read_text(encoding="utf-8"))
    assert (result.exit_code, told["urgent"], told["readings"][0]["systolic"]) == (30, True, 128.0)
    (problem,) = map(json.loads, (tmp_path / "problems").read_text(encoding="utf-8").splitlines())
    assert (problem["code"], problem["line"], problem["column"]) == ("payload-too-short", 3, "payload")
