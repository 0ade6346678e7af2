"""Texts of JSON, against Python's own parser: a key that stands twice is never passed over, and nothing else is changed."""

import json
from collections.abc import Callable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.intake.texts.json_text import NotJson, Repeated, parsed_json
from support import examples

SOME = settings(max_examples=examples(150), deadline=None)
KEYS = st.sampled_from(["a", "b", ":", "é", '":', "\\", ""])
PLAIN = st.none() | st.booleans() | st.integers(-(2**63), 2**63) | st.floats(allow_nan=False) | st.text(max_size=5) | KEYS


class Pairs(list):
    """An object as its pairs, so that a key may be there twice."""


def objects(inner: st.SearchStrategy) -> st.SearchStrategy:
    return st.lists(st.tuples(KEYS, inner), max_size=4).map(Pairs)


VALUES = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=3) | objects(inner), max_leaves=12)


def written(draw: Callable, value: Any) -> str:
    """Write a value as somebody might: with or without spaces, letters as they are or escaped."""
    space = draw(st.sampled_from(["", " ", "\n"]))
    if isinstance(value, Pairs):
        pairs = [f"{written(draw, key)}{space}:{space}{written(draw, item)}" for key, item in value]
        return "{" + f",{space}".join(pairs) + "}"
    if isinstance(value, list):
        return "[" + ",".join(written(draw, item) for item in value) + "]"
    text = json.dumps(value, ensure_ascii=draw(st.booleans()))
    return text.replace(":", "\\u003a") if draw(st.booleans()) else text


def expected(value: Any) -> Any:
    if isinstance(value, Pairs):
        keys = dict.fromkeys(key for key, _ in value)
        given_for = {key: tuple(expected(item) for name, item in value if name == key) for key in keys}
        return {key: Repeated(given) if len(given) > 1 else given[0] for key, given in given_for.items()}
    return [expected(item) for item in value] if isinstance(value, list) else value


@SOME
@given(VALUES, st.data())
def test_every_key_that_stands_twice_is_found_however_the_text_is_written(value, data):
    assert parsed_json(written(data.draw, value).encode()) == expected(value)


@SOME
@given(st.binary(max_size=40) | st.text(max_size=20).map(str.encode))
def test_any_bytes_are_read_or_refused_without_being_quoted(raw):
    try:
        parsed_json(raw)
    except NotJson as error:
        assert str(error).startswith("not JSON: ")


def test_objects_nested_too_deep_are_refused_or_read_and_a_key_among_them_is_found():
    deep = '{"a": ' * 400 + '{"k": 1, "k": 2}' + "}" * 400
    value = parsed_json(deep.encode())
    while isinstance(value, dict) and "a" in value:
        value = value["a"]
    assert value == {"k": Repeated((1, 2))}
    for depth in (1_020, 100_000):
        try:
            parsed_json(b'{"k": 1, "k": ' * depth)
        except NotJson:
            continue
        raise AssertionError("an open object was read")
