"""Rules chained by the engine in its child process: what follows is what the language means, whatever is in memory."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.ruling.language.conditions import Group, Mention
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.running import chains, truth
from heartlevel.ruling.running.chains import follow
from heartlevel.ruling.running.truth import EngineFailure
from support import examples

RULES = {
    "first": ("all", "a", "b"),
    "second": ("any", "first", "c"),
    "third": ("none", "second", "d"),
    "fourth": "third",
}


def test_conclusions_rest_on_conclusions_and_unknown_stays_unknown():
    rows = [{"a": True, "b": True, "d": False}, {"a": False, "c": False, "d": False}, {"a": True, "d": False}, {"d": True}]
    assert follow(RULES, rows) == [
        {"first": True, "second": True, "third": False, "fourth": False},
        {"first": False, "second": False, "third": True, "fourth": True},
        {},
        {"third": False, "fourth": False},
    ]


def condition_of(shape):
    return Mention(shape) if isinstance(shape, str) else Group(shape[0], tuple(map(condition_of, shape[1:])))


def plainly(rules, row):
    known = dict(row)
    for name, shape in rules.items():
        known[name] = verdict(condition_of(shape), {}, {}, known)
    return {name: known[name] for name in rules if known[name] is not None}


FACTS = ["a", "b", "c", "d"]


def shapes(names):
    return st.recursive(
        st.sampled_from(names),
        lambda inner: st.builds(lambda kind, parts: (kind, *parts), st.sampled_from(["all", "any", "none"]),
                                st.lists(inner, min_size=1, max_size=3)),
        max_leaves=5,
    )  # fmt: skip


CHAINS = st.tuples(shapes(FACTS), shapes([*FACTS, "r0"]), shapes([*FACTS, "r0", "r1"])).map(
    lambda parts: {f"r{number}": shape for number, shape in enumerate(parts)}
)
ROWS = st.lists(st.fixed_dictionaries({}, optional={name: st.booleans() for name in FACTS}), min_size=1, max_size=12)


@settings(max_examples=examples(12), deadline=None)
@given(CHAINS, ROWS)
def test_what_follows_is_what_the_language_means(rules, rows):
    whole = dict.fromkeys(FACTS)
    assert follow(rules, rows) == [plainly(rules, {**whole, **row}) for row in rows]


def test_many_rules_are_asked_in_groups_with_all_that_they_mention(monkeypatch):
    monkeypatch.setattr(chains, "MOST_NAMES", 6)
    rules = {f"r{number}": ("all", f"r{number - 1}", f"x{number}") if number else "x0" for number in range(9)}
    row = {f"x{number}": True for number in range(9)}
    assert follow(rules, [row, {**row, "x4": False}]) == [
        dict.fromkeys(rules, True),
        {name: int(name[1:]) < 4 for name in rules},
    ]


# See `test_engine_child` for what the variable does.
def test_what_follows_does_not_depend_on_what_was_in_memory(monkeypatch):
    rows = [{"a": True, "b": number % 2 == 0, "c": False, "d": number % 3 == 0} for number in range(12)]
    expected = follow(RULES, rows)
    monkeypatch.setenv("MALLOC_PERTURB_", "165")
    assert follow(RULES, rows) == expected == [plainly(RULES, row) for row in rows]


def test_nothing_is_carried_from_one_row_to_the_next():
    rows = [{"a": True, "b": True, "d": False}, {"d": False}, {"a": True, "b": True, "d": False}]
    assert follow(RULES, rows)[1] == {}


def test_a_leaf_that_would_be_both_is_a_failure():
    assert truth.ask_engine({"programs": [{"rules": [[0, 1]], "facts": [[2, 1]]}]}) == [[[1, 1]]]
    with pytest.raises(EngineFailure, match="UnsoundAnswer"):
        truth.ask_engine({"programs": [{"rules": [[0, 1]], "facts": [[0, 1]]}]})


def test_no_two_names_that_the_engine_is_given_share_its_hash():
    """It compares names by 32-bit FNV-1a alone (as its C code was read to do)."""

    def fnv1a(name: str) -> int:
        value = 2166136261
        for byte in name.encode():
            value = (value ^ byte) * 16777619 % 2**32
        return value

    names = [*(f"c{number}" for number in range(1024)), "row", "id", "sid", "$s", "always", "true", "false"]
    assert all(first != second for first, second in combinations(map(fnv1a, names), 2))
