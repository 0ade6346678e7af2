"""`heartlevel rules check`: every mistake in rule files at once."""

from pathlib import Path

import click

from heartlevel.command.options import DIRECTORY, candidate, rules_options
from heartlevel.ruling.tools.unworded import unworded


@click.command()
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def check(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Check the rule files of DIRECTORY, of rules or of a layer (by default those in force), examples included.

    Prints every mistake as file:line:column with a line of cure, and ends with status 1 if there are any. What a language
    leaves to English is no mistake; it is named after the count.
    """
    ruleset = candidate(directory, folder, layers).ruleset
    rules = ruleset.every_rule()
    examples = sum(len(rule.examples) for rule in rules)
    click.echo(f"{len(rules)} rules, {examples} examples, {len(ruleset.guidelines)} guidelines, "
               f"{len(ruleset.protocols)} protocols: no mistakes\n{ruleset.fingerprint}")  # fmt: skip
    for text in unworded(ruleset):
        click.echo(f"note: {text}", err=True)
