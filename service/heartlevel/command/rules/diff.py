"""`heartlevel rules diff`: what a clinic, or a newer directory, changes."""

from math import inf
from pathlib import Path
from typing import Any

import click
import yaml

from heartlevel.command.options import DIRECTORY, candidate, loaded, rules_options
from heartlevel.ruling.tools.difference import ItemDifference, differences


@click.command()
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def diff(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Show what DIRECTORY, of rules or of a clinic's layer, changes against the rules and layers in force.

    A layer takes the place of the one of its id. Without DIRECTORY, shows what the layers in force change.
    """
    if directory is None and not layers:
        raise click.UsageError("name a directory of rules or of a layer")
    before = loaded(folder, layers if directory else ())
    differing = differences(before.ruleset, candidate(directory, folder, layers).ruleset)
    for item in differing:
        click.echo("\n".join(_lines(item)))
    click.echo(f"{len(differing) or 'no'} difference{'s' if len(differing) > 1 else ''}")


def _lines(item: ItemDifference) -> list[str]:
    lines = [f"{item.what} {item.kind} {item.id}".rstrip()]
    lines += [f"    {name}: {_shown(before)} -> {_shown(after)}" for name, before, after in item.fields]
    return lines + [f"    reason: {reason}" for reason in item.reasons]


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    return f"'{value}'" if isinstance(value, str) else _as_written(value)


def _as_written(value: Any) -> str:
    """Write a value as it stands in a rule file, on one line."""
    return yaml.safe_dump(value, default_flow_style=True, sort_keys=False, width=inf).removesuffix("...\n").strip()
