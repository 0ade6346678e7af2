import json
from functools import cache

from heartlevel import answer_to
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.vocabulary import PATTERNS, UNDETERMINED
from support import rules, rules_told


@cache
def shown() -> list[dict]:
    return [answer_to(json.loads(line), rules()) for line in HARBOUR_LANE.read_text().splitlines()]


def test_the_subjects_have_numbers_of_their_own():
    names = [answer["subject"]["id"] for answer in shown()]
    assert 12 <= len(names) <= 50
    assert all(name.removeprefix("s-").isdigit() for name in names) and len(set(names)) == len(names)


def test_the_demo_shows_every_rule_of_the_rule_set():
    every = {rule.id for rule in rules().ruleset.every_rule()}
    found = set().union(*map(rules_told, shown()))
    assert found == every, f"missing: {sorted(every - found)}; unknown: {sorted(found - every)}"


def test_every_pattern_occurs_and_so_does_an_undetermined_one():
    assert {answer["pattern"]["label"] for answer in shown()} == {*PATTERNS, UNDETERMINED}


def test_at_least_one_subject_is_urgent_and_not_all_are():
    assert {answer["urgent"] for answer in shown()} == {True, False}


def test_at_least_one_subject_has_problems_and_not_all_have():
    assert {bool(answer["problems"]) for answer in shown()} == {True, False}


def test_every_device_check_verdict_occurs():
    verdicts = {check["verdict"] for answer in shown() for check in answer["device_checks"]}
    assert verdicts == {"agrees", "undecided", "disagrees"}
