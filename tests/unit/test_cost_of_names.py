"""What names that no field has cost: counted in calls, as a request may hold hundreds of thousands of them."""

import gc
import sys
import tracemalloc
from collections import Counter

import pytest

from heartlevel.intake.fields import messages
from heartlevel.intake.request import MOST_WORDED, ValidationError, read
from heartlevel.intake.schema import Reading
from heartlevel.intake.written import BETWEEN_NAMES, LONGEST_WORD, letters_of, letters_of_each, meant_by
from support import calls_of, reading, rules

LEAST = MOST_WORDED // 10 + 1  # readings with ten strange names each, until what is wrong is no longer worded


def calls(payload: dict) -> int:
    """Return how many calls reading a request makes, of functions in Python and in C."""
    counted = Counter()
    choices = rules().ruleset.choices
    sys.setprofile(lambda _frame, event, _about: counted.update([event]))
    try:
        read(payload, choices)
    finally:
        sys.setprofile(None)
    return counted["call"] + counted["c_call"]


def with_names(form: str, count: int, item: dict) -> dict:
    """Return a request with names that differ in each reading; the first readings use up what is worded."""
    worded = [{f"w{number}_{name}": 1 for name in range(10)} for number in range(LEAST)]
    many = [item | {form.format(number, name): "x" for name in range(count)} for number in range(20)]
    return {"subject": {"id": "s-1"}, "readings": worded + many}


@pytest.mark.parametrize(("form", "item", "most"), [
    ("n{}_{}", reading("2026-03-02T07:10:00Z", 142, 88), 12),
    ("systolix{}_{}", {"setting": "home", "systolic": "x"}, 30),
])  # fmt: skip
def test_a_name_that_no_field_has_takes_few_calls(form, item, most):
    calls(with_names(form, 15, item))  # loads what is loaded once
    few, many = (calls(with_names(form, count, item)) for count in (15, 50))
    assert (many - few) / (35 * 20) < most


def test_texts_near_to_symptoms_are_looked_at_once_though_their_reading_is_lost():
    """Of two equal readings the second is lost, and what is legible of its symptoms was known already."""

    def looked_up(count: int) -> int:
        near = {"symptoms": [f"chestpai{number:x}" for number in range(count)]}
        payload = with_names("n{}_{}", 1, reading("2026-03-02T07:10:00Z", 142, 88) | near)
        requests = []
        counted = calls_of(lambda: requests.append(read(payload, rules().ruleset.choices)), meant_by)
        assert len(requests[0].lost) == LEAST + 19
        return counted.total()

    looked_up(10)  # loads what is loaded once
    assert looked_up(15) - looked_up(10) == 20 * (15 - 10)


def test_names_that_no_field_has_are_told_in_the_order_sent():
    """By the order of a set, what was looked at of many names for what they may mean differed from process to process."""
    names = [f"n{number}" for number in range(40)]
    with pytest.raises(ValidationError) as refused:
        Reading().load(dict.fromkeys(names, 1) | {"setting": "hime"})
    assert [name for name in messages(refused.value) if name in names] == names


@pytest.mark.parametrize("place", ["subject", "reading", "value"])
def test_a_long_name_is_not_kept_once_the_request_is_read(place):
    def sent(number: int) -> dict:
        name = f"{number}" + "y" * 1_000_000
        lost = {"setting": "home", "systolic": "x"} | ({name: 1} if place == "reading" else {})
        subject = {"id": "s-1"} | {"subject": {name: {name: 1}}, "value": {"x": name}}.get(place, {})
        return {"subject": subject, "readings": [lost]}

    read(sent(0), rules().ruleset.choices)
    tracemalloc.start()
    try:
        for number in range(1, 6):
            read(sent(number), rules().ruleset.choices)
        gc.collect()  # faults refer to where they were raised
        assert tracemalloc.get_traced_memory()[0] < 1_000_000
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("names", [
    [], ["systolic"], ["Sys tolic", "sys_1", "DIA-stolic", "", " "], ["a,b", "s_y"], ["y_" * LONGEST_WORD, "s_y"],
    ["stra\N{LATIN SMALL LETTER SHARP S}e", "sy\N{LATIN SMALL LIGATURE ST}"],
])  # fmt: skip
def test_letters_of_several_names_are_those_of_each(names):
    assert letters_of_each(names) == [letters_of(name) for name in names]


def test_no_sign_becomes_the_one_between_names():
    assert [sign for sign in map(chr, range(sys.maxunicode + 1)) if BETWEEN_NAMES in sign.casefold()] == [BETWEEN_NAMES]
