"""`heartlevel rules test`: the examples beside the rules, each run through the tables a request would use."""

import sys
from collections.abc import Iterator
from math import isnan
from pathlib import Path

import click

from heartlevel.bundles.bundling import laid_out
from heartlevel.command.options import DIRECTORY, FAILED, ended_by_faults, placed, rules_options
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.conditions import Mention
from heartlevel.ruling.language.explaining import OUTCOMES
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.examples import JudgedExample, encoded, judged_examples, profile_of
from heartlevel.ruling.running.verdicts import programs_of
from heartlevel.ruling.tools.analysis import value_text, worded


@click.command(name="test")
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def test_rules(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Run the examples of the rules of DIRECTORY (by default those in force).

    Shows every example that comes out otherwise than written, with each comparison of the condition, and ends with
    status 1 if there is one, or if there was nothing to run. Under layers only the rules they add or change are
    run: the examples of the others were written for the limits below.
    """
    with ended_by_faults(), laid_out(*placed(directory, folder, layers)) as directories:
        ruleset = load(*directories)
    cases = list(judged_examples(ruleset, programs_of(ruleset)))
    failures = [case for case in cases if case.is_wrong]
    for case in failures:
        click.echo("\n".join(_lines(ruleset, case)) + "\n")
    rules = len({case.rule.id for case in cases})
    click.echo(f"{rules} rules, {len(cases)} examples: {len(cases) - len(failures)} as written, {len(failures)} not")
    if not cases:
        click.echo("nothing was run: there is no rule with an example here", err=True)
    sys.exit(FAILED if failures or not cases else 0)


def _lines(ruleset: RuleSet, case: JudgedExample) -> Iterator[str]:
    example, at = case.example, case.rule.entry.fault(("examples", case.index), "wrong-example", "")
    findings = f"; findings {', '.join(example.findings)}" if example.findings else ""
    profile = profile_of(ruleset, example)
    yield f"{at.file}:{at.line}: {case.rule.id}, example {case.index + 1}"
    given = ", ".join(f"{name} {value_text(value)}" for name, value in example.given.items())
    yield f"    given: {given or 'nothing'}{findings}"
    yield f"    under: {profile[0]}, {profile[1]}"
    yield f"  - {example.expect}"
    yield f"  + {case.outcome}"
    yield from _parts(ruleset, case, profile)


def _parts(ruleset: RuleSet, case: JudgedExample, profile: Profile) -> Iterator[str]:
    """Yield each part of the condition with the value it met and what came of it."""
    limits, facts = ruleset.limits(*profile), encoded(case.example, ruleset.facts)
    known = {name: None if isnan(value) else value for name, value in facts.items()}
    findings = {rule.id: rule.id in case.example.findings for rule in ruleset.rules[case.rule.scope]}
    for leaf in case.rule.leaves:
        met = "" if isinstance(leaf, Mention) else f"{value_text(case.example.given.get(leaf.fact.name))} -> "
        yield f"    {worded(leaf, limits)}: {met}{OUTCOMES[verdict(leaf, known, limits, findings)]}"
