"""What must not change an answer by a single byte."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.answer.whole import answers, as_json
from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from heartlevel.vocabulary import SITES, TAKEN_IN
from support import examples, rules

FEW = settings(max_examples=examples(25), deadline=None)
MAYBE = st.sampled_from([True, False, None])
TECHNIQUE = st.fixed_dictionaries(
    {},
    optional={
        "talking": MAYBE, "legs_crossed": MAYBE, "bare_arm": MAYBE, "back_supported": MAYBE,
        "arm_height_cm": st.integers(-40, 40), "rested_minutes": st.integers(0, 20),
        "body_position": st.sampled_from(["sitting", "standing", "lying"]),
    },
)  # fmt: skip
READING = st.fixed_dictionaries(
    {
        "taken_at": st.builds("2026-03-{:02d}T{:02d}:{:02d}:00+01:00".format,
                              st.integers(1, 9), st.integers(0, 23), st.integers(0, 59)),
        "systolic": st.integers(60, 230) | st.floats(90, 180).map(lambda one: round(one, 1)),
        "diastolic": st.integers(30, 130),
        "setting": st.sampled_from(TAKEN_IN) | st.just("home"),
    },
    optional={
        "pulse": st.integers(40, 130), "asleep": MAYBE, "site": st.sampled_from(SITES), "selected_from": st.integers(1, 4),
        "device": st.sampled_from(["d-1", "d-2", "stranger"]), "technique": TECHNIQUE,
        "circumstances": st.lists(st.sampled_from(["work-day", "stress", "cold"]), unique=True, max_size=2),
    },
)  # fmt: skip
SUBJECT = st.fixed_dictionaries(
    {"id": st.just("s")},
    optional={
        "age_years": st.integers(10, 90), "pregnant": MAYBE, "on_treatment": MAYBE, "fainting": MAYBE, "frail": MAYBE,
        "days_since_birth": st.none() | st.integers(0, 60), "irregular_pulse_known": MAYBE,
        "arm_circumference_cm": st.fixed_dictionaries({"left": st.integers(20, 50)}),
        "avoid_arms": st.sampled_from([["left"], ["right"]]),
    },
)  # fmt: skip


@st.composite
def payloads(draw):
    readings = draw(st.lists(READING, max_size=14))
    readings = [{"id": f"r-{place}", **one} for place, one in enumerate(readings)]
    options = {"time_zone": "Europe/Oslo", "as_of": "2026-03-10"}
    guideline = draw(st.sampled_from([None, *rules().ruleset.guidelines]))
    if guideline:
        options["guideline"] = guideline
    cuff = {"arm_min_cm": 22, "arm_max_cm": 32}
    return {
        "subject": draw(SUBJECT),
        "devices": [{"id": "d-1", "placement": "upper-arm", "cuff": cuff}, {"id": "d-2", "placement": "wrist"}],
        "readings": readings,
        "options": options,
    }


def answer_bytes(*some):
    requests = [read(payload, rules().ruleset.choices) for payload in some]
    return [as_json(one) for one in answers(assess_requests(requests, rules()))]


def without_problems(raw: bytes) -> dict:
    """The answer without its problems: these name places in the request's lists, so they move with the readings."""
    return {name: value for name, value in json.loads(raw).items() if name != "problems"}


def shuffled_keys(value, shuffle):
    if isinstance(value, dict):
        names = list(value)
        shuffle(names)
        return {name: shuffled_keys(value[name], shuffle) for name in names}
    return [shuffled_keys(one, shuffle) for one in value] if isinstance(value, list) else value


@FEW
@given(payloads(), st.randoms(use_true_random=False))
def test_the_order_of_readings_never_changes_the_answer(payload, random):
    other = {**payload, "readings": random.sample(payload["readings"], len(payload["readings"]))}
    before, after = answer_bytes(payload)[0], answer_bytes(other)[0]
    assert without_problems(after) == without_problems(before)
    if not json.loads(before)["problems"]:
        assert after == before


@FEW
@given(payloads(), st.randoms(use_true_random=False))
def test_the_order_of_keys_never_changes_the_answer(payload, random):
    assert answer_bytes(shuffled_keys(payload, random.shuffle)) == answer_bytes(payload)


@FEW
@given(payloads())
def test_the_order_of_devices_changes_no_more_than_how_a_hint_lists_them(payload):
    other = {**payload, "devices": payload["devices"][::-1]}
    assert without_problems(answer_bytes(other)[0]) == without_problems(answer_bytes(payload)[0])


@FEW
@given(st.lists(payloads(), min_size=2, max_size=5))
def test_a_subject_has_the_same_answer_in_a_batch_as_alone(several):
    assert answer_bytes(*several) == [answer_bytes(one)[0] for one in several]


@FEW
@given(payloads())
def test_the_same_request_has_the_same_answer_twice(payload):
    assert answer_bytes(payload) == answer_bytes(json.loads(json.dumps(payload)))


@FEW
@given(payloads())
def test_every_number_of_an_answer_is_finite(payload):
    def refuse(name):
        raise AssertionError(name)

    (raw,) = answer_bytes(payload)
    json.loads(raw, parse_constant=refuse)
    assert b"NaN" not in raw
