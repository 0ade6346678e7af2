"""`heartlevel rules diff`: what a clinic, or a newer directory, changes."""

from math import inf
from pathlib import Path
from typing import Any

import click
import yaml

from heartlevel.command.options import DIRECTORY, candidate, loaded, rules_options
from heartlevel.ruling.difference import Difference, differences


@click.command()
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def diff(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Show what DIRECTORY, of rules or of a clinic's layer, changes against the rules (--rules, or the shipped ones)."""
    if directory is None and not layers:
        raise click.UsageError("name a directory of rules or of a layer")
    found = differences(loaded(folder).ruleset, candidate(directory, folder, layers).ruleset)
    for one in found:
        click.echo("\n".join(_lines(one)))
    click.echo(f"{len(found) or 'no'} difference{'s' if len(found) > 1 else ''}")


def _lines(one: Difference) -> list[str]:
    lines = [f"{one.what} {one.kind} {one.id}".rstrip()]
    lines += [f"    {name}: {_shown(before)} -> {_shown(after)}" for name, before, after in one.fields]
    return lines + [f"    reason: {reason}" for reason in one.reasons]


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    return f"'{value}'" if isinstance(value, str) else _as_written(value)


def _as_written(value: Any) -> str:
    """Write a value as it stands in a rule file, on one line."""
    return yaml.safe_dump(value, default_flow_style=True, sort_keys=False, width=inf).removesuffix("...\n").strip()
