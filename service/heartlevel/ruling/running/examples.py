"""The examples written beside each rule, run through the same tables as any request."""

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np

from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import parameters_in
from heartlevel.ruling.language.faults import RuleFault
from heartlevel.ruling.language.rules import Example, Rule
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.verdicts import Program

OUTCOMES = ("silent", "fires", "unknown")  # by outcome: false, true, unknown


@dataclass(frozen=True, slots=True)
class JudgedExample:
    """An example, its index among those of its rule, and what came of it: silent, fires or unknown."""

    rule: Rule
    index: int
    example: Example
    outcome: str

    @property
    def is_wrong(self) -> bool:
        """Say whether it comes out otherwise than written."""
        return self.outcome != self.example.expect


def profile_of(ruleset: RuleSet, example: Example) -> Profile:
    """Return the guideline and the protocol whose limits hold for an example."""
    guideline = example.guideline or ruleset.default_guideline
    return guideline, example.protocol or ruleset.guidelines[guideline].protocol


def encoded(example: Example, catalogue: Mapping[str, Fact]) -> dict[str, float]:
    """Return the given facts of an example as coded in columns."""
    return {name: catalogue[name].encoded(value) for name, value in example.given.items()}


def judged_examples(ruleset: RuleSet, programs: Mapping[str, Program]) -> Iterator[JudgedExample]:
    """Yield every example of the rules that are judged with its outcome, in order of the rules."""
    for scope in ruleset.rules:
        yield from _judged(
            ruleset,
            programs[scope],
            [
                (rule, index, example)
                for rule in judged_rules(ruleset, scope)
                for index, example in enumerate(rule.examples)
            ],
        )


def judged_rules(ruleset: RuleSet, scope: str) -> list[Rule]:
    """Return the rules of a scope whose examples are judged.

    Under layers, only the examples of rules whose condition or examples a layer writes are judged: the others
    were written for the limits below it. Nor are those of a rule of which a layer above them changes a parameter alone.
    """
    rules = ruleset.rules[scope]
    written = [rule for rule in rules if not ruleset.layers or rule.entry.sets("when") or rule.entry.sets("examples")]
    return [rule for rule in written if not _written_for_other_numbers(ruleset, rule)]


def _written_for_other_numbers(ruleset: RuleSet, rule: Rule) -> bool:
    """Say whether a parameter that a rule compares with was changed above its examples, and its condition was not."""
    named = [parameter.rpartition(".") for parameter in parameters_in(rule.condition)]
    numbers = {(owner or rule.id, f"parameters.{name}") for owner, _, name in named}
    numbers_in, examples_in, condition_in = (
        _topmost(ruleset, fields) for fields in (numbers, {(rule.id, "examples")}, {(rule.id, "when")})
    )
    return numbers_in > max(examples_in, condition_in)


def _topmost(ruleset: RuleSet, fields: Set[tuple[str, str]]) -> int:
    """Return the index of the highest layer that sets one of some fields of rules; -1 where none does.

    A layer that adds a rule has set its condition and its examples.
    """
    added = {("rule", rule) for rule, field in fields if field in ("when", "examples")}
    setting = [
        index
        for index, layer in enumerate(ruleset.layers)
        if added & layer.added or fields & {(change.id, field) for change in layer.changes for field in change.replaced}
    ]
    return max(setting, default=-1)


def _judged(ruleset: RuleSet, program: Program, examples: Sequence[tuple[Rule, int, Example]]) -> Iterator[JudgedExample]:
    profile = np.array([program.profiles[profile_of(ruleset, example)] for _, _, example in examples])
    firing = [example.findings for _, _, example in examples]
    rules, facts = [rule.id for rule, _, _ in examples], [encoded(example, ruleset.facts) for _, _, example in examples]
    outcomes = program.judge_each(rules, facts, profile, firing)
    for (rule, index, example), outcome in zip(examples, outcomes, strict=True):
        yield JudgedExample(rule, index, example, OUTCOMES[outcome])


def wrong_examples(ruleset: RuleSet, programs: Mapping[str, Program]) -> Iterator[RuleFault]:
    """Yield a fault for each example that does not come out as written (see `judged_examples` for which are judged)."""
    for case in judged_examples(ruleset, programs):
        if case.is_wrong:
            facts = ", ".join(f"{name}: {value}" for name, value in case.example.given.items()) or "nothing recorded"
            detail = f"for {facts} '{case.rule.id}' comes out {case.outcome}, not {case.example.expect}"
            yield _at_the_change(case, detail)


def _at_the_change(case: JudgedExample, detail: str) -> RuleFault:
    """Make the fault at the example, or at the layer's condition where the example stands below it."""
    entry = case.rule.entry
    fault = entry.fault(("examples", case.index), "wrong-example", detail)
    if entry.sets("when") and not entry.sets("examples"):
        hint = f"set `examples` too; this one stands at {fault.file}:{fault.line}"
        return entry.fault(("when",), "wrong-example", detail, hint)
    return fault
