"""The quick look at an object and marshmallow itself: they take the same objects, and load the same from them."""

import json
from collections.abc import Callable, Iterator
from math import inf, nextafter
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError, missing

from heartlevel.intake.fields import Anything, Block, Choice, Day, Flag, Items, Number, Part, Text
from heartlevel.intake.schema import LISTS, Envelope
from heartlevel.intake.screening import Screen
from property.damage import damaged, good, with_damage
from support import examples

MANY = settings(max_examples=examples(150), deadline=None,
                suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])  # fmt: skip
BLOCKS: dict[str, Block] = {name: block() for name, block in LISTS.items()} | {"": Envelope()}
SCREENS = {name: Screen(block) for name, block in BLOCKS.items()}
NO_DAYS = ["2026-02-30", "20260302", "2026-W10-1", "2026-03-02T", " 2026-3-2", "٢٠٢٦-٠٣-٠٢"]
CHARACTERS = st.characters(exclude_categories=())  # lone surrogates too
JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(CHARACTERS, max_size=3) | st.just(10**400),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=2), inner, max_size=2),
    max_leaves=3,
)


def at_the_edges(low: float, high: float) -> list[float]:
    beyond = [nextafter(low, -inf), nextafter(high, inf)]
    return [low, high, *beyond, int(low), int(high), int(low) - 1, int(high) + 1, -0.0, True]


def values(field: Any) -> st.SearchStrategy:
    """Values a field takes, and some just beside them."""
    match field:
        case Number():
            return st.floats(field.low, field.high) | st.sampled_from(at_the_edges(field.low, field.high))
        case Flag():
            return st.booleans()
        case Day():
            return st.dates().map(str) | st.sampled_from(NO_DAYS)
        case Text():
            long = st.builds(str.__mul__, st.sampled_from("xä"), st.integers(field.longest - 1, field.longest + 1))
            return st.text(CHARACTERS, max_size=3) | long
        case Choice():
            return st.sampled_from([*field.names, field.names[0].swapcase(), field.names[0] + " "])
        case Items():
            return st.lists(values(field.inner), max_size=3)
        case Part():
            return objects(field.schema)
        case Anything():
            return JUNK
    raise TypeError(field)


@st.composite
def objects(draw: Callable, block: Block) -> dict:
    """Objects of a kind, mostly good ones: now and then a field holds something else, is lost, or is not known."""
    required = [name for name, field in block.fields.items() if field.required]
    others = draw(st.lists(st.sampled_from(sorted(block.fields)), max_size=4, unique=True))
    whole = {name: draw(values(block.fields[name])) for name in dict.fromkeys([*required, *others])}
    match draw(st.sampled_from(["good", "good", "junk", "null", "lost", "unknown"])):
        case "junk":
            whole[draw(st.sampled_from(sorted(block.fields)))] = draw(JUNK)
        case "null":
            whole[draw(st.sampled_from(sorted(block.fields)))] = None
        case "lost":
            whole.pop(draw(st.sampled_from(sorted(whole))), None) if whole else None
        case "unknown":
            whole[draw(st.sampled_from(["systolik", "", "_schema", "\ud800"]))] = 1
    return whole


def loaded_by_marshmallow(name: str, raw: object) -> dict | None:
    try:
        return BLOCKS[name].load(raw)
    except ValidationError:
        return None


def exactly(loaded: object) -> str:
    """Write what was loaded so that 1, 1.0 and true differ."""
    return json.dumps(loaded, sort_keys=True)


def agree(name: str, raw: object) -> None:
    assert exactly(SCREENS[name].load(raw)) == exactly(loaded_by_marshmallow(name, raw))


def looked_at(payload: Any) -> Iterator[tuple[str, object]]:
    """Yield the objects of a request that are looked at one by one."""
    yield "", payload
    for name in LISTS:
        several = payload.get(name) if isinstance(payload, dict) else None
        yield from ((name, one) for one in several if several) if isinstance(several, list) else ()


def test_good_requests_are_loaded_without_marshmallow():
    parts = [part for payload in good() for part in looked_at(payload)]
    assert {name for name, _ in parts} == set(BLOCKS)
    assert all(SCREENS[name].load(raw) is not None for name, raw in parts)


@MANY
@given(damaged())
def test_both_take_the_same_parts_of_a_damaged_request_and_load_the_same(case):
    for name, raw in looked_at(with_damage(*case)):
        agree(name, raw)


@pytest.mark.parametrize("name", BLOCKS)
@MANY
@given(data=st.data())
def test_both_take_the_same_objects_and_load_the_same(name, data):
    agree(name, data.draw(objects(BLOCKS[name]) | JUNK))


@pytest.mark.parametrize("more", [0, 1])
def test_both_take_lists_of_the_longest_length_and_none_longer(more):
    pair = {side: {"systolic": 120, "diastolic": 80} for side in ("device", "reference")}
    for name, key, item in [("device_checks", "pairs", pair), ("readings", "circumstances", "stress")]:
        (raw,) = [one for part, one in looked_at(good()[0]) if part == name][:1]
        longer = {**raw, key: [item] * (BLOCKS[name].fields[key].longest + more)}
        assert (SCREENS[name].load(longer) is None) == bool(more)
        agree(name, longer)


def test_what_is_loaded_is_a_copy_so_that_a_request_is_never_changed():
    payload = good()[0]
    reading, loaded = payload["readings"][0], SCREENS["readings"].load(payload["readings"][0])
    assert loaded is not reading
    assert loaded["technique"] is not reading["technique"]
    assert loaded["circumstances"] is not reading["circumstances"]


def declared(block: Block) -> Iterator[tuple[Block, Any]]:
    for field in block.fields.values():
        yield block, field
        inner = field.inner if isinstance(field, Items) else field
        if isinstance(inner, Part):
            yield from declared(inner.schema)


def test_no_declaration_asks_for_what_the_quick_look_does_not_do():
    for block in BLOCKS.values():
        for owner, field in declared(block):
            assert (field.data_key, field.attribute, field.load_default, field.dump_only) == (None, None, missing, False)
            hooks = {name for registered in owner._hooks.values() for name, *_ in registered}
            assert hooks == {"refuse_strange"}  # the quick look refuses unknown keys by `forbid_unknown_fields`
            assert owner.unknown == "raise"
            assert len(field.validators) == (not isinstance(field, (Flag, Part, Anything)))
