"""Lists that are read in one step: where they are, each object is what marshmallow makes of it; where not, nothing is."""

import uuid
from collections import OrderedDict
from datetime import UTC, datetime
from decimal import Decimal
from enum import Enum, StrEnum

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from heartlevel.intake.own.facts import OwnFact
from heartlevel.intake.own.form import Form
from heartlevel.intake.request import items_of, read, read_item
from property.damage import damaged, good, with_damage
from property.test_screening import JUNK, exactly, objects
from support import examples, rules

MANY = settings(max_examples=examples(150), deadline=None,
                suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])  # fmt: skip
OWN = (
    OwnFact("own-number", "reading", "number", "of no limits"),
    OwnFact("own_count", "reading", "number", "of limits", "1", low=0, high=4),
    OwnFact("from", "reading", "choice", "a name that is a word of Python", names=("ä", "b")),
    OwnFact("own_flag", "reading", "flag", "yes or no"),
)
FORMS = {"plain": Form(), "own": Form(OWN), "own, of limits": Form(OWN[1:])}
LISTS_READ = sorted(FORMS["plain"].readers)


class Word(StrEnum):
    HOME = "home"


class Figure(Enum):
    HIGH = 120


class Name(str):
    __slots__ = ()


ODD = [True, False, 0, 1, 1.0, -0.0, 120, "120", " 120 ", "yes", 10**30, 10**400, -(2**63) - 1, float("nan"), float("inf"),
       -float("inf"), 1.7e308, None, "", "\ud800", "ä", "\x00", "x" * 64, "x" * 65, "HOME", "home", Word.HOME, Figure.HIGH,
       Name("home"), b"home", Decimal(120), np.float64(120), np.bool_(True), np.str_("home"), uuid.UUID(int=1),
       datetime(2026, 3, 2, tzinfo=UTC), (), ("stress",), {"stress"}, [], [None], ["stress", "stress"], {},
       {"talking": True}, {"talking": 1}, {"talking": True, "x": 1}, {1: 2},
       OrderedDict(talking=True), object()]  # fmt: skip


def by_marshmallow(form: Form, name: str, sent: list) -> list | None:
    try:
        return [form.lists[name].load(item) for item in sent]
    except ValidationError:
        return None


def agree(form: Form, name: str, sent: list) -> None:
    """What is read in one step is what marshmallow loads; that it may pass on what marshmallow takes costs time alone."""
    loaded = form.readers[name](sent)
    if loaded is not None:
        assert exactly(loaded) == exactly(by_marshmallow(form, name, sent))
        assert all(item is not raw for item, raw in zip(loaded, sent, strict=True))


def test_readings_of_good_requests_are_read_in_one_step():
    assert "readings" in LISTS_READ
    for payload in good():
        assert FORMS["plain"].readers["readings"](payload["readings"]) is not None


@pytest.mark.parametrize("form", ["plain", "own, of limits"])
@pytest.mark.parametrize("name", LISTS_READ)
@MANY
@given(data=st.data())
def test_a_list_is_read_as_marshmallow_reads_each_of_its_objects(form, name, data):
    block = FORMS[form].lists[name]
    agree(FORMS[form], name, data.draw(st.lists(objects(block) | JUNK, max_size=3)))


@pytest.mark.parametrize("value", ODD, ids=lambda value: f"{type(value).__name__}-{str(value)[:12]!a}")
@pytest.mark.parametrize("form", FORMS)
def test_values_that_other_programs_may_pass_are_read_as_marshmallow_reads_them(form, value):
    reading = good()[0]["readings"][0]
    for name in FORMS[form].reading.fields:
        agree(FORMS[form], "readings", [reading, {**reading, name: value}])
    for name in FORMS[form].lists["readings"].fields["technique"].schema.fields:
        agree(FORMS[form], "readings", [{**reading, "technique": {name: value}}])
    agree(FORMS[form], "readings", [value])


@pytest.mark.parametrize("value", [0, 4, 4.5, "b", "ä", "c", True, None, 1e308, float("inf")])
@pytest.mark.parametrize("name", [fact.name for fact in OWN])
def test_facts_of_ones_own_are_read_in_one_step_where_marshmallow_takes_them(name, value):
    reading = {**good()[0]["readings"][0], "technique": {name: value}}
    agree(FORMS["own"], "readings", [reading])
    taken = by_marshmallow(FORMS["own"], "readings", [reading]) is not None
    assert (FORMS["own"].readers["readings"]([reading]) is not None) == taken


def item_by_item(sent: list, name: str) -> tuple[dict, list]:
    kept, problems = {}, []
    for index, item in enumerate(sent):
        usable, faults = read_item(item, name, f"/{name}/{index}", FORMS["plain"])
        problems += faults
        if usable is not None:
            kept[index] = usable
    return kept, problems


@MANY
@given(damaged())
def test_damaged_requests_have_the_values_and_the_problems_in_the_order_that_marshmallow_gives_them(case):
    payload = with_damage(*case)
    sent = payload.get("readings") if isinstance(payload, dict) else None
    if isinstance(sent, list):
        kept, problems = items_of(sent, "readings", FORMS["plain"])
        expected, worded = item_by_item(sent, "readings")
        assert list(kept) == list(expected)
        assert (exactly(list(kept.values())), problems) == (exactly(list(expected.values())), worded)


def test_the_same_reading_twice_is_told_whichever_way_it_was_read():
    payload = good()[0]
    first = payload["readings"][0]
    requests = [read({**payload, "readings": [first, {**first, "systolic": written}]}, rules().ruleset.choices)
                for written in (first["systolic"], str(first["systolic"]))]  # fmt: skip
    assert requests[0].problems == requests[1].problems
    assert [problem.code for problem in requests[0].problems] == ["exact-duplicate"]
