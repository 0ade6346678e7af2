"""Rules chained by the engine from facts to conclusions: the reference that tables and columns are held to.

Rules and facts go by names here. Of a fact it is known that it is true or false, or it is absent; so are conclusions.
The engine takes at most some 250 fields a fact, so that rules are asked in groups, each with all that they mention.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from heartlevel.ruling.running.truth import FALSE, TRUE, UNKNOWN, ask_engine

# A name, or a kind (all, any, none) and its parts.
NamedShape: TypeAlias = str | tuple[Any, ...]
Chained: TypeAlias = Mapping[str, NamedShape]  # each conclusion with its condition
MOST_NAMES = 120  # of a group: the engine takes more, and is quicker with few
VALUES = {FALSE: False, TRUE: True}


def follow(rules: Chained, rows: Sequence[Mapping[str, bool]]) -> list[dict[str, bool]]:
    """Return all that follows by rules from each row of facts, by name; what is not there is unknown.

    Rows that are alike for a group of rules are asked once. Raises EngineFailure.
    """
    groups = list(_groups(rules))
    asked = [_distinct(names, rows) for _, names in groups]
    programs = [
        {"rules": [[names.index(name), _numbered(rules[name], names)] for name in members], "facts": list(patterns)}
        for (members, names), patterns in zip(groups, asked, strict=True)
    ]
    concluded = [dict[str, bool]() for _ in rows]
    for (members, names), patterns, answers in zip(groups, asked, ask_engine({"programs": programs}), strict=True):
        at = {name: names.index(name) for name in members}
        for numbers, answer in zip(patterns.values(), answers, strict=True):
            known = {name: VALUES[answer[digit]] for name, digit in at.items() if answer[digit] != UNKNOWN}
            for row in numbers:
                concluded[row].update(known)
    return concluded


def _groups(rules: Chained) -> Iterator[tuple[list[str], list[str]]]:
    """Yield rules to be asked together, those they mention among them, and all names in them."""
    members, names = dict[str, None](), dict[str, None]()
    for rule in rules:
        own_members, own_names = _closure(rules, rule)
        if members and len(names | own_names) > MOST_NAMES:
            yield list(members), list(names)
            members, names = {}, {}
        members |= own_members
        names |= own_names
    if members:
        yield list(members), list(names)


def _closure(rules: Chained, rule: str) -> tuple[dict[str, None], dict[str, None]]:
    """Return a rule with all that it rests on, and all names in them."""
    members, names, waiting = dict[str, None](), dict[str, None](), [rule]
    while waiting:
        name = waiting.pop()
        names[name] = None
        if name in rules and name not in members:
            members[name] = None
            waiting += _names_in(rules[name])
    return members, names


def _names_in(shape: NamedShape) -> list[str]:
    return [shape] if isinstance(shape, str) else [name for part in shape[1:] for name in _names_in(part)]


def _numbered(shape: NamedShape, names: Sequence[str]) -> Any:
    if isinstance(shape, str):
        return names.index(shape)
    return [shape[0], *(_numbered(part, names) for part in shape[1:])]


def _distinct(names: Sequence[str], rows: Sequence[Mapping[str, bool]]) -> dict[tuple[int, ...], list[int]]:
    """Return the distinct values of names, with the rows that have them."""
    distinct = dict[tuple[int, ...], list[int]]()
    for number, row in enumerate(rows):
        pattern = tuple(UNKNOWN if name not in row else TRUE if row[name] else FALSE for name in names)
        distinct.setdefault(pattern, []).append(number)
    return distinct
