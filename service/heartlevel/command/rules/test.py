"""`heartlevel rules test`: the examples beside the rules, each run through the tables a request would use."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click

from heartlevel.command.options import DIRECTORY, FAILED, placed, rules_options, show_faults
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.analysis import probes_of, shown, worded
from heartlevel.ruling.examples import outcome_of, rewritten
from heartlevel.ruling.language import Mention
from heartlevel.ruling.loading import load
from heartlevel.ruling.reach import Profile, narrowed
from heartlevel.ruling.ruleset import Example, Rule, RuleSet
from heartlevel.ruling.source import RuleFaults
from heartlevel.ruling.verdicts import programs_of

WORDS = ("false", "true", "unknown")  # by outcome


@dataclass(frozen=True, slots=True)
class Case:
    """An example, its place among those of its rule, and what came of it."""

    rule: Rule
    place: int
    example: Example
    outcome: str


@click.command(name="test")
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def test_rules(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Run the examples of the rules of DIRECTORY (by default those in force).

    Shows every example that comes out otherwise than written, with each comparison of the condition, and ends with
    status 1 if there is one, or if there was nothing to run. Under layers only the rules they add or change are
    run: the examples of the others were written for the limits below.
    """
    ruleset = _loaded(*placed(directory, folder, layers))
    cases = list(_cases(ruleset))
    failures = [case for case in cases if case.outcome != case.example.expect]
    for case in failures:
        click.echo("\n".join(_lines(ruleset, case)) + "\n")
    rules = len({case.rule.id for case in cases})
    click.echo(f"{rules} rules, {len(cases)} examples: {len(cases) - len(failures)} as written, {len(failures)} not")
    if not cases:
        click.echo("nothing was run: there is no rule with an example here", err=True)
    sys.exit(FAILED if failures or not cases else 0)


def _loaded(folder: Path | None, layers: tuple[Path, ...]) -> RuleSet:
    """Load the rules without running their examples, or end the command with every mistake in them."""
    try:
        return load(folder, layers)
    except RuleFaults as faults:
        show_faults(faults)
        sys.exit(FAILED)


def _cases(ruleset: RuleSet) -> Iterator[Case]:
    programs = programs_of(ruleset)
    for rule in ruleset.every_rule():
        if ruleset.layers and not rewritten(rule):
            continue
        for place, example in enumerate(rule.examples):
            yield Case(rule, place, example, outcome_of(ruleset, programs[rule.scope], rule, example))


def _lines(ruleset: RuleSet, case: Case) -> Iterator[str]:
    example, at = case.example, case.rule.fault(("examples", case.place), "wrong-example", "")
    findings = f"; findings {', '.join(example.findings)}" if example.findings else ""
    profile = _profile(ruleset, example)
    yield f"{at.file}:{at.line}: {case.rule.id}, example {case.place + 1}"
    given = ", ".join(f"{name} {shown(value)}" for name, value in example.given.items())
    yield f"    given: {given or 'nothing'}{findings}"
    yield f"    under: {profile[0]}, {profile[1]}"
    yield f"  - {example.expect}"
    yield f"  + {case.outcome}"
    yield from _parts(ruleset, case, profile)


def _parts(ruleset: RuleSet, case: Case, profile: Profile) -> Iterator[str]:
    """Yield each part of the condition with the value it met and what came of it, by the compiled tables."""
    given, findings = case.example.given, case.example.findings
    limits, probes = ruleset.limits(*profile), probes_of(case.rule)
    compared = [probe for probe in probes if not isinstance(probe.condition, Mention)]
    facts = {name: CATALOGUE[name].encoded(value) for name, value in given.items()}
    outcomes = narrowed(ruleset, compared, profile).judge_example(facts, 0, ()) if compared else {}
    for probe, leaf in zip(probes, case.rule.leaves, strict=True):
        if isinstance(leaf, Mention):
            yield f"    {worded(leaf, limits)}: {WORDS[leaf.rule in findings]}"
        else:
            value = shown(given.get(leaf.fact.name))
            yield f"    {worded(leaf, limits)}: {value} -> {WORDS[outcomes[probe.id]]}"


def _profile(ruleset: RuleSet, example: Example) -> Profile:
    guideline = example.guideline or ruleset.default_guideline
    return guideline, example.protocol or ruleset.guidelines[guideline].protocol
