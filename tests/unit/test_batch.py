"""What is computed for many subjects or rules in one step is what each would get alone."""

from math import inf

import numpy as np
import pytest

from heartlevel.answer.whole import as_json
from heartlevel.assessment import assess_requests
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.recorded import LikeObjects
from heartlevel.intake.request import read
from heartlevel.one_call import answer_requests
from heartlevel.profiles import Category
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.running.truth import UNKNOWN
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.statistics.classification import limit_name
from heartlevel.statistics.selection import HOME
from heartlevel.statistics.uncertainty import probability_beyond
from heartlevel.vocabulary import SETTINGS
from support import answer, average, demo, rules, week

FIRST_DAY_OUT = {"protocol": "esh-2023"}


def assessed(*payloads: dict):
    return assess_requests([read(payload, rules().ruleset.choices) for payload in payloads], rules())


def test_a_device_is_only_that_of_its_own_request():
    devices = [{"placement": "upper-arm", "cuff": {"arm_min_cm": 22, "arm_max_cm": high}} for high in (26, 32, 42)]
    payloads = [{**week(2, device="d-1"), "devices": [{"id": "d-1", **one}]} for one in devices]
    columns = assessed(*payloads, week(2, device="d-1")).facts["reading"]
    highest = columns["cuff_arm_max_cm"].reshape(4, -1)
    assert np.array_equal(highest, np.repeat([[26.0], [32.0], [42.0], [np.nan]], highest.shape[1], axis=1), equal_nan=True)


@pytest.mark.parametrize("objects", [
    [],
    [{"a": 1, "part": {"b": 2}}, {"a": 3, "part": {"b": None}}],
    [{"a": 1}, {"part": {"b": 2}, "a": 3}, {"a": None, "part": None}, {}, {"a": 4}, {"part": {}}],
])  # fmt: skip
def test_objects_of_any_names_in_any_order_are_taken_apart_by_name(objects):
    apart = LikeObjects(objects)
    assert list(apart.values(("a",)) or [None] * len(objects)) == [item.get("a") for item in objects]
    within = [(item.get("part") or {}).get("b") for item in objects]
    assert list(apart.values(("part", "b")) or [None] * len(objects)) == within


@pytest.mark.parametrize("scope", ["reading", "sitting", "series"])
def test_a_fact_is_wanting_where_a_rule_that_compares_it_is_undecided_for_want_of_it(scope):
    assessment = assessed(*demo())
    judged, columns = assessment.verdicts[scope], assessment.facts[scope]
    profiles = [rules().ruleset.limits(guideline.id, protocol.id)
                for guideline, protocol in zip(assessment.guidelines, assessment.protocols, strict=True)]  # fmt: skip
    wanting: dict[str, np.ndarray] = {}
    for rule, outcomes in zip(judged.rules, judged.outcomes, strict=True):
        for leaf in rule.leaves:
            if isinstance(leaf, Term):
                published = np.array([not np.isnan(leaf.figures(limits)).any() for limits in profiles])[columns.subject_of]
                unknown = published & np.isnan(columns[leaf.fact.name]) & (leaf.operator != "known") & (outcomes == UNKNOWN)
                wanting[leaf.fact.name] = wanting.get(leaf.fact.name, False) | unknown
    assert any(rows.any() for rows in wanting.values())
    assert set(judged.undecided) == set(wanting)
    for name, rows in wanting.items():
        assert np.array_equal(judged.undecided[name], rows), name


def uneven_week(days: int) -> dict:
    """Days with other means of systolic than of diastolic pressure, on either side of limits."""
    payload = week(days, options=FIRST_DAY_OUT, pulse=70)
    for place, one in enumerate(payload["readings"]):
        one["systolic"] += 3 * place % 11
        one["diastolic"] += 2 * place % 7
    return payload


def test_each_limit_of_each_subject_has_the_probability_it_would_have_alone():
    found = assessed(uneven_week(4), uneven_week(6))  # the first day is left out
    means, of_limit = found.sureness.long_run, found.sureness.probabilities.of_limit
    levels = [one for one in found.guidelines[0].categories["home"] if min(one.systolic, one.diastolic) > -inf]
    assert len(levels) > 2
    for group in (HOME, HOME + len(SETTINGS)):
        of = means.mean[:, group], means.error[:, group], means.correlation[group], means.degrees[:, group]
        alone = {limit_name(one): float(probability_beyond(*of, np.array(limits(one)))) for one in levels}
        assert of_limit[group] == pytest.approx(alone, abs=1e-12)
        assert len(set(alone.values())) == len(levels)


def limits(level: Category) -> list[float]:
    return [level.systolic, level.diastolic]


def test_the_correlation_is_that_of_the_days_systolic_and_diastolic_means():
    payload = uneven_week(5)
    averages, of_day = assessed(payload).averages, {}
    for one in payload["readings"]:
        of_day.setdefault(one["taken_at"][:10], []).append((one["systolic"], one["diastolic"]))
    means = np.array([np.mean(several, axis=0) for several in of_day.values()])[1:]
    expected = np.corrcoef(means.T)[0, 1]
    assert abs(expected) > 0.1
    assert averages.correlation[averages.row("protocol"), HOME] == pytest.approx(expected, abs=1e-12)


def test_what_nobody_could_have_recorded_is_never_called_undocumented():
    undecided = assessed(week(2)).verdicts["reading"].undecided
    never_asked = {name for name, rows in undecided.items() if rows.any() and not CATALOGUE[name].asked}
    assert never_asked
    assert not never_asked & {one["item"] for one in answer(week(2))["undocumented"]}


def test_a_reading_with_two_reasons_to_be_left_out_is_listed_under_the_first():
    payload = week(4, options=FIRST_DAY_OUT)
    payload["readings"][1] |= {"systolic": 90, "diastolic": 95}
    assert average(answer(payload))["left_out"] == [
        {"because": "first-days-discarded", "readings": ["r-0-7-0", "r-0-20-0", "r-0-20-1"]},
        {"because": "unusable-by-rule", "readings": ["r-0-7-1"]},
    ]


def test_subjects_with_other_devices_days_and_settings_have_the_same_answers_together_as_alone():
    payloads = [*demo(), week(0), week(1), week(3, setting="office"), week(4, device="d-1")]
    together = [as_json(one) for one in answer_requests([read(one, rules().ruleset.choices) for one in payloads], rules())]
    assert together == [as_json(answer(one)) for one in payloads]


def test_where_there_is_nobody_there_are_averages_of_nobody():
    """A run on tables begins with what nobody's assessment is written as."""
    averages = assessed().averages
    for values in (averages.mean, averages.sd, averages.day_mean, averages.day_count, averages.standard_error):
        assert values.shape == (len(QUANTITIES), len(averages.selections), 0)
