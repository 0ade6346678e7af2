"""In pregnancy, and soon after birth, readings are averaged by the pregnancy guideline's protocol unless one is asked for.

ISSHP 2021: of three office readings the mean of the second and third (quoted by others).
"""

import pytest

from support import answer, average, week

VALUES = [(130, 80), (141, 88), (141, 88)]
OFFICE = [{"taken_at": f"2026-03-01T10:{2 * place:02d}:00+01:00", "systolic": systolic, "diastolic": diastolic,
           "setting": "office"} for place, (systolic, diastolic) in enumerate(VALUES)]  # fmt: skip


def seen(subject: dict, **options) -> dict:
    whole = week(0)
    return answer({**whole, "subject": {"id": "s-1", "age_years": 30, **subject}, "readings": OFFICE,
                   "options": {**whole["options"], **options}})  # fmt: skip


@pytest.mark.parametrize("subject", [{"pregnant": True}, {"days_since_birth": 21}])
def test_the_first_of_three_office_readings_is_left_out(subject):
    found = seen(subject)
    assert average(found, "office")["systolic"]["mean"] == 141.0
    assert (found["made_with"]["limits_from"], found["made_with"]["protocol"]) == ("isshp-2021", "esh-2023")
    assert found["classification"]["category"] == "hypertension"


def test_a_protocol_asked_for_holds():
    found = seen({"pregnant": True}, protocol="aha-ama-2020")
    assert average(found, "office")["systolic"]["mean"] == pytest.approx(137.3, abs=0.05)
    assert found["made_with"]["protocol"] == "aha-ama-2020"


def test_others_are_averaged_by_the_protocol_of_their_guideline():
    assert seen({"pregnant": False})["made_with"]["protocol"] == "aha-ama-2020"
