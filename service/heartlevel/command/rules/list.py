"""`heartlevel rules list`: the rules in force, with what they are called."""

from pathlib import Path

import click

from heartlevel.command.options import DIRECTORY, candidate, rules_options
from heartlevel.ruling.language.conditions import Term


@click.command("list")
@click.argument("directory", required=False, type=DIRECTORY)
@click.option("--fact", help="Only rules that compare this fact.")
@rules_options
def list_rules(directory: Path | None, fact: str | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """List the rules of DIRECTORY, of rules or of a layer (by default those in force): id, scope, title."""
    for rule in candidate(directory, folder, layers).ruleset.every_rule():
        compared = {leaf.fact.name for leaf in rule.leaves if isinstance(leaf, Term)}
        if fact is None or fact in compared:
            urgent = ", urgent" if rule.urgent else ""
            click.echo(f"{rule.id:<40} {rule.scope:<8} {rule.title}{urgent}")
