"""The examples written beside each rule, run through the same tables as any request."""

from collections.abc import Iterator, Mapping

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.ruleset import Example, Rule, RuleSet
from heartlevel.ruling.source import RuleFault
from heartlevel.ruling.verdicts import Program

OUTCOMES = ("silent", "fires", "unknown")  # by outcome: false, true, unknown


def examples_of(ruleset: RuleSet) -> Iterator[tuple[Rule, Example]]:
    """Yield every example with its rule."""
    return ((rule, example) for rule in ruleset.every_rule() for example in rule.examples)


def outcome_of(ruleset: RuleSet, program: Program, rule: Rule, example: Example) -> str:
    """Return what the rule says of an example's facts: fires, silent or unknown."""
    guideline = example.guideline or ruleset.default_guideline
    protocol = example.protocol or ruleset.guidelines[guideline].protocol
    facts = {name: CATALOGUE[name].encoded(value) for name, value in example.given.items()}
    profile = program.profiles[guideline, protocol]
    return OUTCOMES[program.judge_example(facts, profile, example.findings)[rule.id]]


def wrong_examples(ruleset: RuleSet, programs: Mapping[str, Program]) -> Iterator[RuleFault]:
    """Yield a fault for each example that does not come out as written.

    Under layers, only the examples of rules whose condition or examples a layer writes are judged: the others
    were written for the limits below it.
    """
    for rule in ruleset.every_rule():
        if ruleset.layers and not rewritten(rule):
            continue
        for place, example in enumerate(rule.examples):
            outcome = outcome_of(ruleset, programs[rule.scope], rule, example)
            if outcome != example.expect:
                facts = ", ".join(f"{name}: {value}" for name, value in example.given.items()) or "nothing recorded"
                detail = f"for {facts} '{rule.id}' comes out {outcome}, not {example.expect}"
                yield _at_the_change(rule, place, detail)


def rewritten(rule: Rule) -> bool:
    """Say whether a layer writes the rule's condition or examples."""
    return any(rule.origin.sets((*rule.path, part)) for part in ("when", "examples"))


def _at_the_change(rule: Rule, place: int, detail: str) -> RuleFault:
    """Make the fault at the example, or at the layer's condition where the example stands below it."""
    example = rule.fault(("examples", place), "wrong-example", detail)
    if rule.origin.sets((*rule.path, "when")) and not rule.origin.sets((*rule.path, "examples")):
        hint = f"set `examples` too; this one stands at {example.file}:{example.line}"
        return rule.fault(("when",), "wrong-example", detail, hint)
    return example
