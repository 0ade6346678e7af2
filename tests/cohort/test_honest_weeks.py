"""What the service has to say of honest weeks: little. Target for 600 of them: median findings 0, in nine of ten at most 2.

`HONEST_WEEKS=600` takes as many as the target names; the suite a quarter of them.
"""

from collections import Counter

import numpy as np
import pytest

from cohort.honest import KINDS, SLIPS, WEEKS, honest_people
from heartlevel.answer.whole import answers
from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from support import rules

# What the level is, or how home and office compare: true of these people, and no fault of their weeks.
OF_THE_LEVEL = {"sustained-elevation", "office-only-elevation", "home-only-elevation", "very-high", "very-low", "low"}
MOST = 0.05


@pytest.fixture(scope="module")
def honest() -> list[tuple[str, dict, dict]]:
    """Kind, request and answer of each person."""
    people = list(honest_people(WEEKS))
    given = assess_requests([read(payload, rules().ruleset.choices) for _, payload in people], rules())
    return [(kind, payload, answer) for (kind, payload), answer in zip(people, answers(given), strict=True)]


def findings(answer: dict) -> list[str]:
    return [one["rule"] for one in answer["findings"]]


def test_every_kind_of_week_and_of_slip_is_among_them(honest):
    assert Counter(kind for kind, _, _ in honest) == dict.fromkeys(KINDS, WEEKS // len(KINDS))
    assert WEEKS // len(KINDS) >= 2 * len(SLIPS)


def test_most_honest_weeks_have_no_finding_and_nine_of_ten_at_most_two(honest):
    numbers = [len(findings(answer)) for _, _, answer in honest]
    assert np.median(numbers) == 0
    assert np.quantile(numbers, 0.9) <= 2


def test_each_rule_speaks_of_at_most_one_in_twenty_honest_weeks(honest):
    """But for what is true of the level, and for the slip that there was."""
    without_slip = [answer for kind, _, answer in honest if kind != "one slip"]
    fired = Counter(rule for answer in without_slip for rule in set(findings(answer)) - OF_THE_LEVEL)
    chance = 2 * np.sqrt(MOST * (1 - MOST) / len(without_slip))  # two standard errors of so few people
    assert {rule: count for rule, count in fired.items() if count > (MOST + chance) * len(without_slip)} == {}


def test_nothing_is_urgent_without_a_severe_value(honest):
    """180 or 120 (Whelton et al. 2017) and, very low, below 80 systolic (a convention here)."""
    for _, payload, answer in honest:
        severe = [one for one in payload["readings"]
                  if one["systolic"] >= 180 or one["diastolic"] >= 120 or one["systolic"] < 80]  # fmt: skip
        assert severe or not answer["urgent"], payload["subject"]["id"]


def test_a_good_week_has_no_finding():
    """126/78 over 7 days."""
    week = next(payload for kind, payload in honest_people(1) if kind == "home only")
    for place, one in enumerate(week["readings"]):
        one |= {"systolic": 126 + (0, 3, -2, 1, -3, 2, -1)[place % 7], "diastolic": 78 + (1, 0, -2, 2, -1)[place % 5]}
    (answer,) = answers(assess_requests([read(week, rules().ruleset.choices)], rules()))
    assert findings(answer) == []
