"""Every statement of a conclusion is true of the numbers in the same answer, in every language."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel import answer_to
from property.told import untrue
from support import demo, examples, rules

DAY = "2026-03-{:02}T{:02}:{:02}:00+01:00"
PRESSURE = st.tuples(st.integers(80, 230), st.integers(45, 135)).filter(lambda pair: pair[0] > pair[1] + 10)


@st.composite
def weeks(draw: st.DrawFn) -> dict:
    """Draw a person with a week at home, perhaps visits to the office, a fault of technique and a severe value."""
    systolic, diastolic = draw(PRESSURE)
    spread, technique = draw(st.integers(0, 8)), draw(st.sampled_from([{}, {"arm_height_cm": -15}, {"talking": True}]))
    readings = [
        {"taken_at": DAY.format(2 + day, hour, minute), "systolic": systolic + (day * 7 + hour + minute) % (spread + 1),
         "diastolic": diastolic, "setting": "home", "technique": technique}
        for day in range(draw(st.integers(0, 7))) for hour in (7, 20) for minute in (0, 2)
    ]  # fmt: skip
    office = draw(st.one_of(st.none(), PRESSURE))
    if office:
        readings += [{"taken_at": DAY.format(day, 10, minute), "systolic": office[0], "diastolic": office[1],
                      "setting": "office"} for day in (3, 5) for minute in (0, 2)]  # fmt: skip
    guideline = draw(st.sampled_from(["acc-aha-2025", "nice-ng136", "esh-2023"]))
    language = draw(st.sampled_from(["en", "es", "de"]))
    return {"subject": {"id": "x", "age_years": 50}, "readings": readings,
            "options": {"guideline": guideline, "language": language, "as_of": "2026-03-09"}}  # fmt: skip


@settings(max_examples=examples(60), deadline=None)
@given(weeks())
def test_of_drawn_people(payload):
    assert untrue(answer_to(payload, rules())) == []


def test_of_the_demo_practice_in_every_language():
    for language in ("en", "es", "de"):
        for payload in demo():
            asked = json.loads(json.dumps(payload))
            asked.setdefault("options", {})["language"] = language
            assert untrue(answer_to(asked, rules())) == [], payload["subject"]


def test_what_is_not_true_is_noticed():
    answer = answer_to({"subject": {"id": "x", "age_years": 50}, "readings": [
        {"taken_at": DAY.format(2 + day, hour, minute), "systolic": 150, "diastolic": 95, "setting": "home"}
        for day in range(7) for hour in (7, 20) for minute in (0, 2)]}, rules())  # fmt: skip
    assert untrue(answer) == []
    for change in ({"raised": False}, {"title": "Normal"}, {"probability_at_or_above": {"130/80": 0.5}}):
        assert untrue({**answer, "classification": {**answer["classification"], **change}}), change
    assert untrue({**answer, "sides": [{**side, "systolic": 148.0} for side in answer["sides"]]})
    assert untrue({**answer, "averages": [{**average, "days": 6} for average in answer["averages"]]})
    assert untrue({**answer, "urgent": True})
