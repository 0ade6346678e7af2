"""`heartlevel rules`: look after rule files."""

from itertools import chain
from pathlib import Path

import click

from heartlevel.assessment import Rules
from heartlevel.bundles.bundling import laid_out
from heartlevel.command.options import DIRECTORY, candidate, ended_by_faults, placed, rules_options
from heartlevel.command.rules.analyse import analyse_rules
from heartlevel.command.rules.bundle import bundle
from heartlevel.command.rules.diff import diff
from heartlevel.command.rules.editor import editor, schema
from heartlevel.command.rules.examples import wanted_examples
from heartlevel.command.rules.explain import explain, parameter_text
from heartlevel.command.rules.format import format_rules
from heartlevel.command.rules.patients import changed_outcomes, judged_in_force
from heartlevel.command.rules.table import limits_table
from heartlevel.command.rules.test import test_rules
from heartlevel.command.rules.translate import translate
from heartlevel.command.rules.try_ import try_
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.tools.boundaries import without_examples
from heartlevel.ruling.tools.numbers.told import told_otherwise
from heartlevel.ruling.tools.translating.outstanding import outstanding


@click.group("rules")
def rules_group() -> None:
    """Look after rule files: check, test and explain them, try changes before they go live."""


@rules_group.command()
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def check(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Check the rule files of DIRECTORY, of rules or of a layer (by default those in force), examples and patients too.

    Prints every mistake as file:line:column with a line of cure, and ends with status 1 if there are any. No mistakes, and
    named after the count, are a number in a text that repeats a threshold or tells another (a warning, with its place and
    cure), a file that is passed over, patients of the rules below whose answer a layer changes, thresholds without examples
    around them, and how much a language leaves to English or says of an older original.
    """
    with ended_by_faults(), laid_out(*placed(directory, folder, layers)) as (rules_in, laid):
        checked = Rules.load(rules_in, laid)
        patients, changed = judged_in_force(checked, rules_in, laid)
        if faults := [fault for patient in patients for fault in patient.faults()]:
            raise RuleFaults(faults)
    ruleset = checked.ruleset
    rules = ruleset.every_rule()
    examples = sum(len(rule.examples) for rule in rules)
    click.echo(f"{len(rules)} rules, {examples} examples, {len(patients)} patients, {len(ruleset.guidelines)} guidelines, "
               f"{len(ruleset.protocols)} protocols: no mistakes\n{ruleset.fingerprint}")  # fmt: skip
    for layer in ruleset.layers:
        click.echo(f"layer {layer.id}, revision {layer.revision}: {layer.fingerprint}")
    for warning in sorted(set(told_otherwise(ruleset))):
        click.echo(f"warning: {warning}\n    {warning.cure}", err=True)
    untranslated = outstanding(ruleset, str(directory or ""))
    for text in chain(ruleset.passed_over(), changed_outcomes(changed), without_examples(ruleset), untranslated):
        click.echo(f"note: {text}", err=True)


@rules_group.command("list")
@click.argument("directory", required=False, type=DIRECTORY)
@click.option("--fact", help="Only rules that compare this fact.")
@click.option("--parameters", is_flag=True, help="Only rules with parameters, each with its value and who set it.")
@rules_options
def list_rules(
    directory: Path | None, fact: str | None, parameters: bool, folder: Path | None, layers: tuple[Path, ...]
) -> None:
    """List the rules of DIRECTORY, of rules or of a layer (by default those in force): id, scope, title."""
    ruleset = candidate(directory, folder, layers).ruleset
    for rule in ruleset.every_rule():
        compared = {leaf.fact.name for leaf in rule.leaves if isinstance(leaf, Term)}
        if (fact is None or fact in compared) and (rule.parameters or not parameters):
            urgent = ", urgent" if rule.urgent else ""
            click.echo(f"{rule.id:<40} {rule.scope:<8} {rule.title}{urgent}")
            for origin in ruleset.parameter_origins(rule) if parameters else ():
                click.echo(f"    {parameter_text(origin)}")


for command in (
    analyse_rules,
    bundle,
    diff,
    editor,
    explain,
    format_rules,
    limits_table,
    schema,
    test_rules,
    translate,
    try_,
    wanted_examples,
):
    rules_group.add_command(command)
