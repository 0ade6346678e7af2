"""Numbers in the texts of rules that repeat a threshold instead of showing the parameter, or tell another than it."""

from collections.abc import Iterator
from dataclasses import dataclass

from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.conditions import ORDERED, Limit, Term
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet
from heartlevel.ruling.tools.numbers.reading import PERCENT, WrittenNumber, numbers_in

TEXTS = ("title", "explanation", "advice", "patient")
BY_NATURE = (0.0, 1.0)  # nothing, one, all: nobody chooses them


@dataclass(frozen=True, slots=True)
class Threshold:
    """A number that a condition compares with, as a text would tell it: its unit (None for a count), whether a bound."""

    value: float
    unit: str | None
    is_bound: bool


def told_otherwise(ruleset: RuleSet) -> Iterator[RuleFault]:
    """Yield each number in a rule's texts, of any language, that repeats one of its thresholds or contradicts them."""
    for rule in ruleset.every_rule():
        thresholds = thresholds_of(rule)
        for entry, language in texts_of(ruleset, rule):
            for number in numbers_in(entry.item, language):
                yield from _judged(rule, thresholds, entry, number)


def thresholds_of(rule: Rule) -> frozenset[Threshold]:
    """Return the numbers that a rule compares facts with."""
    terms = [leaf for leaf in rule.leaves if isinstance(leaf, Term) and leaf.fact.kind == "number"]
    return frozenset(
        threshold
        for term in terms
        if term.operator != "known"
        for value in term.values
        if not isinstance(value, Limit)
        for threshold in _told_as(abs(float(value)), term)
    )


def _told_as(value: float, term: Term) -> Iterator[Threshold]:
    unit = None if term.fact.unit in (None, "1", "/min") else term.fact.unit
    is_bound, is_part = term.operator in ORDERED, term.fact.share or (unit is None and 0 < value < 1)
    yield Threshold(value, unit, is_bound and not is_part)
    if is_part:
        yield Threshold(round(100 * value, 9), PERCENT, is_bound)


def texts_of(ruleset: RuleSet, rule: Rule) -> Iterator[tuple[Entry, str]]:
    """Yield every text written of a rule, with its language: its own, and those of wording files."""
    own = mapping(rule.entry.item)
    yield from ((rule.entry.part(key), DEFAULT_LANGUAGE) for key in TEXTS if isinstance(own.get(key), str))
    for language in ruleset.wording:
        entry = ruleset.entries["wording", language]
        written = mapping(entry.item, "rules", rule.id)
        yield from ((entry.part("rules", rule.id, key), language) for key in TEXTS if isinstance(written.get(key), str))


def _judged(rule: Rule, thresholds: frozenset[Threshold], entry: Entry, number: WrittenNumber) -> Iterator[RuleFault]:
    if any(repeats(number, threshold) for threshold in thresholds):
        detail = (
            f"{number.value:g} is a threshold of '{rule.id}', written out: a change of it would leave the text as it is"
        )
        yield entry.fault((), "literal-number", detail, _shown_as(rule, number))
    elif number.is_bound:
        alike = sorted(
            threshold.value
            for threshold in thresholds
            if threshold.is_bound and threshold.unit == number.unit and _is_chosen(threshold)
        )
        if alike:
            meant = " or ".join(f"{value:g}" for value in alike)
            detail = f"the text tells {number.value:g} as a bound, and '{rule.id}' compares with {meant}"
            yield entry.fault((), "other-number", detail, f"if another thing is meant: {{fixed:{number.value:g}}}")


def repeats(number: WrittenNumber, threshold: Threshold) -> bool:
    """Say whether a number in a text is that of a threshold: equal, and of no other unit."""
    same_unit = number.unit in (None, threshold.unit) and not (number.unit is None and threshold.unit == PERCENT)
    return same_unit and number.value == threshold.value and _is_chosen(threshold)


def _is_chosen(threshold: Threshold) -> bool:
    return threshold.value not in BY_NATURE and (threshold.value, threshold.unit) != (100.0, PERCENT)


def _shown_as(rule: Rule, number: WrittenNumber) -> str:
    fixed = f"{{fixed:{number.value:g}}} if it is true whatever the threshold"
    for name, value in rule.parameters.items():
        if number.value in (abs(value), round(100 * abs(value), 9)):
            return f"write {{param:{name}}}, or {fixed}"
    return f"name it under `parameters`, or write {fixed}"
