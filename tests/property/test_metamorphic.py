"""How an answer may change when its request changes in a known way."""

import json
from datetime import datetime, timedelta

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from support import answer, examples, rules

FEW = settings(max_examples=examples(30), deadline=None)
# What each technique detail is when it is as it should be.
GOOD = {
    "body_position": "sitting", "back_supported": True, "feet_flat": True, "legs_crossed": False, "arm_supported": True,
    "arm_relaxed": True, "arm_height_cm": 0, "arm_level": "heart", "rested_minutes": 10, "talking": False,
    "full_bladder": False, "bare_arm": True, "cuff_mark_in_range": True, "cuff_mark_over_artery": True,
    "fingers_under_top_edge": 1, "fingers_under_bottom_edge": 1, "pumped_by_measured_arm": False,
    "wrist_held_by_other_hand": True, "minutes_since_exercise": 60, "minutes_since_caffeine": 60,
    "minutes_since_nicotine": 60,
}  # fmt: skip
BAD = {
    "talking": True, "legs_crossed": True, "arm_height_cm": -15, "back_supported": False, "rested_minutes": 1,
    "body_position": "standing", "arm_level": "below", "fingers_under_top_edge": 4, "minutes_since_caffeine": 5,
}  # fmt: skip
OTHER_SIDE = {"left": "right", "right": "left"}
SITES = ("left-upper-arm", "right-upper-arm", "left-wrist", "right-wrist")
GUIDELINES = sorted(rules().ruleset.guidelines)
# Fingers under one edge of the cuff say nothing of evenness; recorded under the other too, they may.
SEEN_ONLY_TOGETHER = {"cuff-unevenly-tight"}


@st.composite
def techniques(draw):
    good = draw(st.lists(st.sampled_from(sorted(GOOD)), unique=True, max_size=5))
    bad = draw(st.lists(st.sampled_from(sorted(BAD)), unique=True, max_size=2))
    return {**{name: GOOD[name] for name in good}, **{name: BAD[name] for name in bad}}


@st.composite
def requests(draw, guidelines=GUIDELINES):
    """Readings a minute or more apart, at home and in the office, of plausible pressures."""
    chosen = draw(st.lists(st.tuples(st.integers(0, 6), st.sampled_from([7, 10, 20]), st.integers(0, 3)), unique=True,
                           min_size=1, max_size=16))  # fmt: skip
    readings = [_reading(draw, *when) for when in sorted(chosen)]
    arms = {"left": draw(st.integers(20, 48)), "right": draw(st.integers(20, 48))}
    subject = {"id": "s", "age_years": draw(st.integers(15, 80)), "arm_circumference_cm": arms,
               "avoid_arms": draw(st.sampled_from([[], ["left"], ["right"]])), "pregnant": draw(st.booleans())}  # fmt: skip
    cuff = {"arm_min_cm": 22, "arm_max_cm": 32}
    return {
        "subject": subject,
        "devices": [{"id": "d", "method": "oscillometric", "cuff": cuff}],
        "readings": readings,
        "options": {"time_zone": "UTC", "as_of": "2026-03-31", "guideline": draw(st.sampled_from(GUIDELINES))},
    }


def _reading(draw, day, hour, minute):
    systolic = draw(st.integers(85, 210))
    return {
        "id": f"r-{day}-{hour:02d}-{minute}",
        "taken_at": f"2026-03-{2 + day:02d}T{hour:02d}:{minute:02d}:00Z",
        "systolic": systolic,
        "diastolic": systolic - draw(st.integers(20, 55)),
        "setting": "office" if hour == 10 else "home",
        "site": draw(st.sampled_from(SITES)),
        "device": "d",
        "technique": draw(techniques()),
    }


def reliability(found):
    return {one["id"]: one["reliability"] for one in found["readings"]}


def findings_of(found):
    """Each rule that found something, with each reading it is about; with none if it is about the whole series."""
    return sorted((one["rule"], name) for one in found["findings"] for name in one["readings"] or [""])


def added(before, after):
    new = set(findings_of(after)) - set(findings_of(before))
    return [one for one in new if one[0] not in SEEN_ONLY_TOGETHER]


# A fifth reading makes all of a sitting doubtful (too-many-inflations), and a reading put before another on the same
# limb may come too soon before it: both are documented. Here the new one stands alone, hours from any other.
@FEW
@given(requests(), st.integers(0, 6), st.integers(90, 170))
def test_adding_a_sound_reading_makes_no_other_one_less_sound(payload, day, systolic):
    new = {"id": "new", "taken_at": f"2026-03-{2 + day:02d}T15:00:00Z", "systolic": systolic,
           "diastolic": systolic - 40, "setting": "home", "technique": {}}  # fmt: skip
    more = {**payload, "readings": [*payload["readings"], new]}
    before, after = reliability(answer(payload)), reliability(answer(more))
    assert after.pop("new") in ("sound", "not-documented")
    assert after == before


# A sound reading within a sitting, too, as long as the sitting has no more than four readings.
@FEW
@given(requests(), st.data())
def test_a_reading_a_minute_after_the_last_of_a_short_sitting_makes_no_other_one_less_sound(payload, data):
    first = data.draw(st.sampled_from(payload["readings"]))
    new = {**first, "id": "new", "taken_at": first["taken_at"][:14] + "05:00Z", "technique": {}}
    sitting = [one for one in payload["readings"] if one["taken_at"][:13] == first["taken_at"][:13]]
    before = reliability(answer(payload))
    after = reliability(answer({**payload, "readings": [*payload["readings"], new]}))
    if len(sitting) < 4:
        assert {name: after[name] for name in before} == before
    else:
        assert not {"sound", "not-documented"} & {after[one["id"]] for one in sitting}


def level(payload):
    """The place of each category reached, by setting: home's if it has one, else the office's."""
    found = answer(payload)["classification"]
    if found["category"] is None:
        return None
    order = [one.id for one in rules().ruleset.guidelines[found["guideline"]].categories[found["setting"]]]
    return found["setting"], order.index(found["category"])


@FEW
@given(requests(), st.integers(1, 25))
def test_raising_every_value_never_lowers_the_category(payload, by):
    raised = [{**one, "systolic": one["systolic"] + by, "diastolic": one["diastolic"] + by} for one in payload["readings"]]
    before, after = level(payload), level({**payload, "readings": raised})
    assert (before is None) == (after is None)
    assert before is None or (after[0] == before[0] and after[1] >= before[1])


# Where the lower of the last two office readings counts (NICE), raising the systolic of the one may make it the other,
# whose diastolic is lower: there only raising both pressures of all readings, as above, is sure.
@FEW
@given(requests([one for one in GUIDELINES if one != "nice-ng136"]), st.data())
def test_raising_one_value_never_lowers_the_category(payload, data):
    place = data.draw(st.integers(0, len(payload["readings"]) - 1))
    name = data.draw(st.sampled_from(["systolic", "diastolic"]))
    raised = [*payload["readings"]]
    raised[place] = {**raised[place], name: raised[place][name] + data.draw(st.integers(1, 4))}
    before, after = level(payload), level({**payload, "readings": raised})
    assert (before is None) == (after is None)
    assert before is None or after[1] >= before[1]


def as_it_should_be(payload):
    """The details that may be recorded as good. Where somebody stands the position is not among them: it tells which
    readings can be held against each other, and whether back and legs matter."""
    stands = any(one["technique"].get("body_position") == BAD["body_position"] for one in payload["readings"])
    return {name: value for name, value in GOOD.items() if not (stands and name == "body_position")}


@FEW
@given(requests())
def test_recording_a_technique_detail_as_good_never_adds_a_finding(payload):
    good = as_it_should_be(payload)
    fuller = [{**one, "technique": {**good, **one["technique"]}} for one in payload["readings"]]
    assert not added(answer(payload), answer({**payload, "readings": fuller}))


@FEW
@given(requests(), st.sampled_from(sorted(GOOD)))
def test_correcting_one_technique_detail_never_adds_a_finding_and_makes_no_reading_less_reliable(payload, detail):
    assume(detail in as_it_should_be(payload))
    corrected = [{**one, "technique": {**one["technique"], detail: GOOD[detail]}} for one in payload["readings"]]
    before, after = answer(payload), answer({**payload, "readings": corrected})
    # What is documented for the first time is sound then; before, nothing was known.
    order = {"unusable": 0, "doubtful": 1, "not-documented": 2, "sound": 2}
    worse = [name for name, was in reliability(before).items()
             if order[reliability(after)[name]] < order[was]]  # fmt: skip
    assert not worse
    assert not added(before, after)


def swapped(value):
    """The same request with left and right exchanged wherever a side is named."""
    if isinstance(value, dict):
        return {OTHER_SIDE.get(name, name): swapped(one) for name, one in value.items()}
    if isinstance(value, list):
        return [swapped(one) for one in value]
    if not isinstance(value, str):
        return value
    side, dash, rest = value.partition("-")
    return OTHER_SIDE.get(side, side) + dash + rest


@FEW
@given(requests())
def test_left_and_right_exchanged_everywhere_change_only_names(payload):
    def unsided(found):
        return json.loads(json.dumps(found).replace("left", "SIDE").replace("right", "SIDE"))

    assert unsided(answer(swapped(payload))) == unsided(answer(payload))


# What names a day, or says it in words.
DATED = {"as_of", "from", "to", "day", "on", "since", "taken_at", "text", "clinician"}


def moved(payload, weeks):
    def later(text):
        return (datetime.fromisoformat(text) + timedelta(weeks=weeks)).isoformat()

    readings = [{**one, "taken_at": later(one["taken_at"])} for one in payload["readings"]]
    as_of = later(payload["options"]["as_of"])[:10]
    return {**payload, "readings": readings, "options": {**payload["options"], "as_of": as_of}}


@FEW
@given(requests(), st.integers(-200, 200))
def test_whole_weeks_earlier_or_later_change_nothing_but_dates(payload, weeks):
    def undated(found):
        if isinstance(found, list):
            return [undated(one) for one in found]
        if not isinstance(found, dict):
            return found
        return {key: undated(value) for key, value in found.items() if key not in DATED}

    assert undated(answer(moved(payload, weeks))) == undated(answer(payload))


# In kilopascals as UCUM has them. Means are compared to a tenth: the conversion is exact to a billionth, not to the bit.
@FEW
@given(requests())
def test_the_same_readings_in_kilopascals_have_the_same_findings_and_category(payload):
    def kilopascals(one):
        factor = 0.133322
        pressures = {name: one[name] * factor for name in ("systolic", "diastolic")}
        return {**one, **pressures, "unit": "kPa"}

    other = {**payload, "readings": [kilopascals(one) for one in payload["readings"]]}
    before, after = answer(payload), answer(other)
    assert findings_of(after) == findings_of(before)
    assert reliability(after) == reliability(before)
    assert after["classification"]["category"] == before["classification"]["category"]
    assert after["urgent"] == before["urgent"]
