"""`heartlevel rules test`: the examples beside the rules, through the tables a request would use, and whole patients."""

import sys
from collections.abc import Iterator, Sequence
from math import isnan
from pathlib import Path

import click

from heartlevel.assessment import Rules
from heartlevel.bundles.bundling import laid_out
from heartlevel.command.options import DIRECTORY, FAILED, ended_by_faults, placed, rules_options, show_faults
from heartlevel.command.rules.engine import differs_from_engine
from heartlevel.command.rules.patients import changed_outcomes, judged_in_force, lines_of_patient, wrong_patients
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.conditions import Mention
from heartlevel.ruling.language.explaining import OUTCOMES
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.contradictions import contradicting_facts
from heartlevel.ruling.running.examples import JudgedExample, encoded, judged_examples, profile_of
from heartlevel.ruling.running.verdicts import programs_of
from heartlevel.ruling.tools.analysis import value_text, worded
from heartlevel.vignettes.judging import JudgedVignette


@click.command(name="test")
@click.argument("directory", required=False, type=DIRECTORY)
@click.option("--engine", "is_chained", is_flag=True, help="Hold patients and the practice to the rule engine too.")
@rules_options
def test_rules(directory: Path | None, is_chained: bool, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Run the examples of the rules of DIRECTORY (by default those in force), and the patients.

    Shows every example that comes out otherwise than written, with each comparison of the condition, and every patient
    whose answer does; ends with status 1 if there is one, or if there was nothing to run. Under layers only the rules
    they add or change and the patients of the layer on top are run: the others were written for the limits below. Of
    these patients it is told whose answer the layer changes.

    With --engine, all patients and the invented practice are also chained by the rule engine from their readings to
    conclusions, and every finding and conclusion that the service gives is held against what follows there.
    """
    with ended_by_faults(), laid_out(*placed(directory, folder, layers)) as (rules_in, laid):
        ruleset = load(rules_in, laid)
        rules = Rules(ruleset, programs_of(ruleset))
        judged, changed = judged_in_force(rules, rules_in, laid)
        cases = list(judged_examples(ruleset, rules.programs))
        failed = _shown(ruleset, cases, judged)
        for text in changed_outcomes(changed):
            click.echo(f"note: {text}", err=True)
        failed |= is_chained and differs_from_engine(rules, rules_in)
    if not cases and not judged:
        click.echo("nothing was run: there is no rule with an example and no patient here", err=True)
    sys.exit(FAILED if failed or not (cases or judged) else 0)


def _shown(ruleset: RuleSet, cases: Sequence[JudgedExample], judged: Sequence[JudgedVignette]) -> bool:
    """Show what comes out otherwise, and how much came out as written; return whether anything is to be mended."""
    failures, wrong = [case for case in cases if case.is_wrong], wrong_patients(judged)
    contradicting = list(contradicting_facts(ruleset))
    for lines in (*(_lines(ruleset, case) for case in failures), *map(lines_of_patient, wrong)):
        click.echo("\n".join(lines) + "\n")
    if contradicting:
        show_faults(RuleFaults(contradicting))
    count = len({case.rule.id for case in cases})
    click.echo(f"{count} rules, {len(cases)} examples: {len(cases) - len(failures)} as written, {len(failures)} not")
    click.echo(f"{len(judged)} patients: {len(judged) - len(wrong)} as written, {len(wrong)} not")
    return bool(failures or wrong or contradicting)


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
