"""A good request, damaged at random: every fault named at its place, everything else as it was."""

from functools import cache

import orjson
import pytest
from hypothesis import HealthCheck, given, settings

from heartlevel import RefusedRequest
from heartlevel.answer.whole import as_json
from heartlevel.intake.faults import problems_written
from property.damage import GONE, STRANGE_KEYS, Damage, damaged, good, lies_at, with_damage
from support import answer, examples

MANY = settings(max_examples=examples(300), deadline=None, suppress_health_check=[HealthCheck.too_slow])
ESSENTIAL = {"devices": {"id"}, "readings": {"taken_at", "systolic", "diastolic", "setting", "unit"},
             "device_checks": {"device", "pairs", "sequence"}}  # fmt: skip
OF_LOST = {
    "readings-not-used",
    "lost-reading-severe",
    "lost-unit-may-hide-severe",
    "lost-reading-very-low",
    "symptoms-recorded",
    "symptoms-in-pregnancy",
}  # symptoms told with a lost reading count
OF_PREGNANCY = {"severe-in-pregnancy", "severe-after-birth"}  # beside `very-high`


def refuses(damage: Damage) -> bool:
    whole = len(damage.path) < 2 or damage.path[0] == "options" or damage.path == ("subject", "id")
    return damage.fault and whole


def leaves_limits_unclear(damage: Damage) -> bool:
    """Say whether it can no longer be known which limits hold. Of the strange keys only one is near to a detail, the id."""
    details = {"age_years", "pregnant", "days_since_birth", *STRANGE_KEYS} - {"id "}
    return damage.fault and len(damage.path) == 2 and damage.path[0] == "subject" and damage.path[1] in details


def loses_item(damage: Damage) -> bool:
    """Say whether the whole reading, device or check can say nothing after this."""
    of_list = damage.path[:1] and ESSENTIAL.get(damage.path[0], set())
    lost = len(damage.path) == 2 or (len(damage.path) > 2 and damage.path[2] in of_list)
    unread = not damage.late or damage.path[2] == "taken_at"  # a stranger's name can be read
    return bool(damage.fault and unread and of_list and lost)


def healed(payload: dict, done: list[Damage]) -> dict:
    """The request somebody careful would have sent: what cannot be read left out, all else as it was sent."""
    kept = [one for one in done if not one.fault or one.late and not loses_item(one)]
    gone = [Damage(one.path, GONE, fault=False) for one in done if one.fault and one not in kept and not loses_item(one)]
    whole = with_damage(payload, kept + gone)
    lost = {one.path[:2] for one in done if loses_item(one)}
    for name in ESSENTIAL:
        if isinstance(whole.get(name), list):
            whole[name] = [one for place, one in enumerate(whole[name]) if (name, place) not in lost]
    return whole


def unnamed(done: list[Damage], pointers: list[str], refused: bool) -> list[Damage]:
    """Return the faults no problem points at. Times and names are looked at only where the items could be read."""
    lost = {one.path[:2] for one in done if loses_item(one)}
    unread = {one.path[:2] for one in done if one.fault and not one.late and loses_item(one)}
    due = [one for one in done if one.fault and not (one.late and (refused or one.path[:2] in unread))]
    due = [one for one in due if not any(other[:2] in lost for other in (one.path, *one.others) if one.others)]
    return [one for one in due
            if not any(lies_at(found, path) for found in pointers for path in (one.path, *one.others))]  # fmt: skip


def figures(whole: dict) -> dict[str, tuple]:
    return {one["id"]: (one["systolic"], one["diastolic"], one["reliability"]) for one in whole["readings"]}


@cache
def figures_before(place: int) -> dict[str, tuple]:
    return figures(answer(good()[place]))


def urgent_rules(whole: dict) -> set[tuple[str, str]]:
    """Name the urgent rules with each reading they fired for, but for one that takes a pregnancy to be recorded."""
    return {(one["rule"], name) for one in whole["findings"] if one["urgent"] and one["rule"] not in OF_PREGNANCY
            for name in one["readings"]}  # fmt: skip


def undisturbed(payload: dict, done: list[Damage]) -> set[str]:
    """Name the readings of days on which nothing was damaged, where the damage is in readings only."""
    if any(one.path[0] != "readings" or len(one.path) < 2 for one in done):
        return set()
    touched = {path[1] for one in done for path in (one.path, *one.others)}
    days = {payload["readings"][place]["taken_at"][:10] for place in touched}
    return {one["id"] for one in payload["readings"] if "id" in one and one["taken_at"][:10] not in days}


def without_lost(whole: dict) -> dict:
    """The answer without what it says of lost readings; the findings that are left are numbered anew."""
    kept = [one for one in whole["findings"] if one["rule"] not in OF_LOST]
    name_of = {one["id"]: f"f-{number}" for number, one in enumerate(kept, start=1)}
    steps = [{**step, "because": [name_of[name] for name in step["because"] if name in name_of], "first": None,
              "rules": [rule for rule in step["rules"] if rule not in OF_LOST]}
             for step in whole["next_steps"]]  # fmt: skip
    return whole | {
        "counts": None, "urgent": any(one["urgent"] for one in kept), "urgency": None, "conclusion": None,
        "other_guidelines": [{**one, "urgent": None, "disagrees_in": None} for one in whole["other_guidelines"]],
        "findings": [{**one, "id": name_of[one["id"]]} for one in kept],
        "readings": [{**one, "findings": [name_of[name] for name in one["findings"]]} for one in whole["readings"]],
        "next_steps": [step for step in steps if step["rules"]],
        **{part: renamed(whole[part], name_of) for part in ("pattern", "sides", "classification", "periods")},
    }  # fmt: skip


def renamed(told: object, name_of: dict) -> object:
    """The same with the new names of findings."""
    if isinstance(told, list):
        return [renamed(one, name_of) for one in told]
    if isinstance(told, dict):
        return {key: renamed(value, name_of) for key, value in told.items()}
    return name_of.get(told, told) if isinstance(told, str) else told


def counted_readings(whole: dict, sent: dict) -> None:
    """Every reading sent is counted, and something is said of lost ones where there are any but copies, only then."""
    counts = whole["counts"]
    assert counts["received"] == len(sent["readings"])
    assert counts["assessed"] == len(whole["readings"]) == counts["received"] - counts["lost"]
    for key in ("received", "assessed", "lost"):
        assert sum(one[key] for one in counts["by_setting"].values()) == counts[key]
    copies = counts["lost_because"].get("exact-duplicate", 0)
    assert ("readings-not-used" in {one["rule"] for one in whole["findings"]}) == (counts["lost"] > copies)
    assert set(counts["lost_because"]) <= {one["code"] for one in whole["problems"]}


def test_the_requests_to_be_damaged_are_good_ones():
    assert len(good()) > 8
    assert [answer(one)["problems"] for one in good()] == [[]] * len(good())


@MANY
@given(damaged())
def test_damage_is_named_at_its_place_and_nothing_else_in_the_answer_changes(case):
    payload, done = case
    broken = with_damage(payload, done)
    if any(map(refuses, done)):
        with pytest.raises(RefusedRequest) as refusal:
            answer(broken)
        orjson.dumps(problems_written(refusal.value.problems))
        assert unnamed(done, [one.pointer for one in refusal.value.problems], refused=True) == []
        return
    given_back = answer(broken)
    named = [place for one in given_back["problems"] for place in one["places"]]
    assert unnamed(done, named, refused=False) == []
    expected = answer(healed(payload, done))
    if any(map(leaves_limits_unclear, done)):
        assert figures(given_back) == figures(expected)
        assert urgent_rules(given_back) >= urgent_rules(expected)
        assert (given_back["classification"]["category"], given_back["pattern"]["label"]) == (None, "undetermined")
    else:
        assert as_json({**without_lost(given_back), "problems": []}) == as_json({**without_lost(expected), "problems": []})
    counted_readings(given_back, broken)
    as_json(given_back)  # what was found wrong can be written as JSON too
    kept = undisturbed(payload, done)
    if kept:
        (place,) = [number for number, sound in enumerate(good()) if sound is payload]
        before, after = figures_before(place), figures(given_back)
        assert {name: after.get(name) for name in kept} == {name: before[name] for name in kept}
