"""The rule engine, durable_rules, asked what a condition's shape says for every pattern of its leaves.

Run as a program (see `truth`), never imported by the service: a question comes in on standard input, the answer goes out
on standard output, and a crash of the engine's C code ends this process and no other. Shapes are answered by truth tables;
rules with facts (see `chains`), by what follows from them.

A shape is a condition without its contents: a leaf's number, or `[kind, part, ...]` with kind all, any or none. A
table lists the outcome of each pattern of its leaves' values, `0` false, `1` true, `2` unknown. The values are the
digits, least significant first, of a pattern's index, which is written in base 3.

The engine sees two flags for each leaf, "is true" and "is false", under generated names, and two rules for each
shape: one fires where the condition is true, one where it is false. If neither fires it is unknown. Each question is
one fact on one fixed session. A third rule matches it for certain, and the session is deleted after it: with joins,
events, several sessions or background threads this engine crashes or mixes answers up.
"""

import json
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import product
from typing import Any

from durable import engine

FALSE, TRUE, UNKNOWN = 0, 1, 2
Shape = Any  # int | list: JSON


class UnsoundAnswer(Exception):
    """The engine did not answer as it must; its own text is never passed on."""


class SilentHost(engine.Host):  # type: ignore[misc]
    """The engine without its background threads, which may run a rule's action after the answer."""

    def _run(self) -> None:
        """Start no dispatcher and no timers."""


class Runner:
    """One compiled set of rules, asked one fact at a time."""

    def __init__(self, rules: dict[str, Any]) -> None:
        """Compile the rules (name to condition) beside one that always fires, and warm the session up."""
        self._fired: list[str] = []
        self._lock = threading.Lock()
        definition = {name: {"all": [{"m": when}], "run": self._note(name)} for name, when in rules.items()}
        definition["always"] = {"all": [{"m": {"row": 1}}], "run": self._note("always")}
        self._host = SilentHost()
        self._host.set_rulesets({"rules": definition})
        self.fired({})

    def _note(self, name: str) -> Callable[[Any], None]:
        return lambda _: self._fired.append(name)

    def fired(self, fact: dict[str, int]) -> set[str]:
        """Return the names of the rules that fire for a fact. Raises UnsoundAnswer."""
        with self._lock:
            self._fired.clear()
            state = self._host.assert_fact("rules", {**fact, "row": 1})
            self._host.delete_state("rules")
            if not state or "exception" in state or "always" not in self._fired:
                raise UnsoundAnswer
            return set(self._fired) - {"always"}


def leaf_flag(leaf: int, value: bool) -> str:
    """Return the name of the flag that says a leaf is true, or that it is false."""
    return f"c{2 * leaf + (not value)}"


def condition(shape: Shape, wanted: bool) -> dict[str, Any]:
    """Write "the shape is true" (or "is false") for the engine; only and, or and flags are needed."""
    if isinstance(shape, int):
        return {leaf_flag(shape, wanted): 1}
    kind, *parts = shape
    # "none" is true where every part is false, and false where any part is true.
    joined = "$and" if (kind == "any") != wanted else "$or"
    inner = [condition(part, wanted if kind != "none" else not wanted) for part in parts]
    return inner[0] if len(inner) == 1 else {joined: inner}


def leaves(shape: Shape) -> int:
    """Return how many leaves a shape has."""
    return max(_every_leaf(shape)) + 1


def patterns(count: int) -> Iterator[tuple[int, ...]]:
    """Yield the values of the leaves for each entry of a table, in order."""
    return (digits[::-1] for digits in product((FALSE, TRUE, UNKNOWN), repeat=count))


def alike(shape: Shape) -> Iterator[list[int]]:
    """Yield the leaves that may change places: they stand side by side in one group, and nowhere else."""
    times = Counter(_every_leaf(shape))
    groups = [] if isinstance(shape, int) else [shape]
    while groups:
        group = groups.pop()
        yield [part for part in group[1:] if isinstance(part, int) and times[part] == 1]
        groups += [part for part in group[1:] if not isinstance(part, int)]


def _every_leaf(shape: Shape) -> Iterator[int]:
    if isinstance(shape, int):
        yield shape
    else:
        for part in shape[1:]:
            yield from _every_leaf(part)


def table(shape: Shape) -> str:
    """Ask the engine for a shape's whole truth table. Raises UnsoundAnswer.

    Patterns that differ by leaves changing places are one question, asked once: eight leaves make 6,561 patterns.
    """
    runner = Runner({"true": condition(shape, True), "false": condition(shape, False)})
    groups = [group for group in alike(shape) if len(group) > 1]
    answers = dict[tuple[int, ...], str]()
    questions = [_in_one_order(pattern, groups) for pattern in patterns(leaves(shape))]
    for question in questions:
        if question not in answers:
            answers[question] = str(_outcome(runner, question))
    return "".join(answers[question] for question in questions)


def _in_one_order(pattern: tuple[int, ...], groups: list[list[int]]) -> tuple[int, ...]:
    ordered = list(pattern)
    for group in groups:
        for leaf, value in zip(group, sorted(pattern[leaf] for leaf in group), strict=True):
            ordered[leaf] = value
    return tuple(ordered)


def _outcome(runner: Runner, pattern: tuple[int, ...]) -> int:
    fired = runner.fired({leaf_flag(leaf, value == TRUE): 1 for leaf, value in enumerate(pattern) if value != UNKNOWN})
    if len(fired) > 1:
        raise UnsoundAnswer
    return {"true": TRUE, "false": FALSE}[fired.pop()] if fired else UNKNOWN


def conclusions(rules: list[tuple[int, Shape]], facts: list[list[int]]) -> list[list[int]]:
    """Chain from facts to all that follows: the values of all leaves for each row of them.

    A rule is the leaf that it concludes, and the shape of its condition. What fires is asserted together with all that is
    known already, as one fact more of the same session, until nothing new follows; so no two facts are ever joined.
    Raises UnsoundAnswer, also where a leaf would be both true and false.
    """
    runner = Runner({leaf_flag(leaf, value): condition(shape, value) for leaf, shape in rules for value in (True, False)})
    mentioned = {leaf for _, shape in rules for leaf in _every_leaf(shape)} & {leaf for leaf, _ in rules}
    return [_followed(runner, mentioned, values) for values in facts]


def _followed(runner: Runner, mentioned: set[int], values: list[int]) -> list[int]:
    known = {leaf_flag(leaf, value == TRUE) for leaf, value in enumerate(values) if value != UNKNOWN}
    asked_again = {leaf_flag(leaf, value) for leaf in mentioned for value in (True, False)}
    while new := runner.fired(dict.fromkeys(known, 1)) - known:
        known |= new
        if not new & asked_again:
            break
    truth = [(leaf_flag(leaf, True) in known, leaf_flag(leaf, False) in known) for leaf in range(len(values))]
    if (True, True) in truth:
        raise UnsoundAnswer
    return [TRUE if is_true else FALSE if is_false else UNKNOWN for is_true, is_false in truth]


def reply_to(question: dict[str, Any]) -> list[Any]:
    """Return the tables of shapes, or what follows from facts by rules."""
    if "shapes" in question:
        return [table(shape) for shape in question["shapes"]]
    return [conclusions(program["rules"], program["facts"]) for program in question["programs"]]


if __name__ == "__main__":
    json.dump(reply_to(json.load(sys.stdin)), sys.stdout)
