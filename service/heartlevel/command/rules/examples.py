"""`heartlevel rules examples`: what examples lack around the thresholds of rules, shown or written into their files."""

import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from heartlevel.command.options import FAILED, loaded, rules_options
from heartlevel.command.rules.format import replaced_by
from heartlevel.intake.faults import near
from heartlevel.resources import shipped
from heartlevel.ruling.language.faults import Position
from heartlevel.ruling.language.rules import Example, Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.examples import judged_rules
from heartlevel.ruling.tools.boundaries import Boundary, examples_wanted
from heartlevel.ruling.tools.commented import NotFormatted
from heartlevel.ruling.tools.formatting import block_of, formatted
from heartlevel.ruling.tools.writing import example_written, last_example, with_examples


@click.command(name="examples")
@click.argument("names", metavar="[RULE]...", nargs=-1)
@click.option("--write", "is_written", is_flag=True, help="Write them into the files of the rules, in the one layout.")
@rules_options
def wanted_examples(names: tuple[str, ...], is_written: bool, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Show the examples that the RULEs (by default all that are judged) lack around their thresholds.

    Each boundary is to have an example just below it, at it and just above it whose outcome hinges on it. What is
    proposed is what the rules say now: read whether that is what they are to say before you keep it.
    """
    ruleset = loaded(folder, layers).ruleset
    added = defaultdict[Position, list[Example]](list)
    for rule in _asked(ruleset, names):
        for line in _lines(rule, wanted := list(examples_wanted(ruleset, rule))):
            click.echo(line)
        for _, _, example in wanted:
            if example is not None:
                added[last_example(rule)].append(example)
    count = sum(map(len, added.values()))
    refused = _write(added, (folder or shipped("rules"), *layers)) if is_written else 0
    click.echo(f"{count} examples {'written' if is_written and not refused else 'wanted'}")
    sys.exit(FAILED if refused else 0)


def _asked(ruleset: RuleSet, names: Sequence[str]) -> Iterator[Rule]:
    every = {rule.id: rule for rule in ruleset.every_rule()}
    for name in names:
        if name not in every:
            raise click.BadParameter(
                f"there is no rule '{name}' ({near(name, every) or '`heartlevel rules list` lists them'})"
            )
        yield every[name]
    if not names:
        for scope in ruleset.rules:
            yield from judged_rules(ruleset, scope)


def _lines(rule: Rule, wanted: Sequence[tuple[Boundary, str, Example | None]]) -> Iterator[str]:
    if wanted:
        at = last_example(rule)
        yield f"{at.file}:{at.line}: {rule.id}"
    for boundary, position, example in wanted:
        found_none = "none hinges on it: no other facts were found with which it decides"
        yield f"    {boundary}, {position}: {found_none if example is None else example_written(example)}"


def _write(added: dict[Position, list[Example]], directories: Sequence[Path]) -> int:
    """Write the examples into their files, and return how many files could not be written."""
    by_file = defaultdict[str, dict[Position, list[Example]]](dict)
    for position, examples in added.items():
        by_file[position.file][position] = examples
    refused = 0
    for name, examples_of in by_file.items():
        path = _path_of(name, directories)
        text, block = path.read_text(encoding="utf-8"), block_of(path)
        try:
            replaced_by(path, formatted(with_examples(text, examples_of), block) if block else text)
        except NotFormatted as error:
            refused += 1
            click.echo(f"{name}:{error.line}: left alone: {error}", err=True)
    return refused


def _path_of(name: str, directories: Sequence[Path]) -> Path:
    """Return the file that a position names: one of a layer begins with its folder."""
    folder, *layers = directories
    top, _, inside = name.partition("/")
    return next((layer / inside for layer in layers if layer.name == top and (layer / inside).is_file()), folder / name)
