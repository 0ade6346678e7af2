"""Options that several commands take, and what they do with them."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from heartlevel.assessment import Rules
from heartlevel.bundles.bundling import BundleRefused, load_rules
from heartlevel.ruling.files.directories.listing import top_in
from heartlevel.ruling.files.layers import TOP, replacing
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.web.settings import WrongSettings

FAILED, URGENT, UNREADABLE = 1, 10, 20
Command = TypeVar("Command", bound=Callable[..., Any])
DIRECTORY = click.Path(exists=True, file_okay=False, path_type=Path)

json_option = click.option("--json", "as_lines", is_flag=True, help="JSON, one object a line, instead of text.")
_rules = click.option("--rules", "folder", type=click.Path(exists=True, path_type=Path), envvar="HEARTLEVEL_RULES",
                      help="Directory of rule files, or a bundle; by default the shipped ones.")  # fmt: skip
_layers = click.option("--layer", "layers", type=DIRECTORY, multiple=True, envvar="HEARTLEVEL_LAYERS",
                       help="A clinic's own directory over the rules; give it again for more, lowest first.")  # fmt: skip


def rules_options(command: Command) -> Command:
    """Add --rules and --layer to a command; it gets `folder` and `layers`."""
    return _rules(_layers(command))


def loaded(folder: Path | None, layers: tuple[Path, ...] = ()) -> Rules:
    """Load the rules, or end the command with every mistake in them."""
    with ended_by_faults():
        return load_rules(folder, layers)


def candidate(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> Rules:
    """Load a directory in place of the rules, or, if it is a clinic's layer, over them."""
    return loaded(*placed(directory, folder, layers))


def placed(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> tuple[Path | None, tuple[Path, ...]]:
    """Return where rules and layers lie once a directory takes its place: a layer that of the layer of its id."""
    if directory is None:
        return folder, layers
    if top_in(directory, TOP) is None:
        return directory, layers
    return folder, replacing(layers, directory)


@contextmanager
def ended_by_faults() -> Iterator[None]:
    """End the command, with every mistake in the rule files, where these cannot be loaded."""
    try:
        yield
    except WrongSettings as mistakes:
        click.echo(str(mistakes), err=True)
        sys.exit(FAILED)
    except BundleRefused as refusal:
        click.echo(f"rules refused: {refusal}", err=True)
        sys.exit(FAILED)
    except RuleFaults as faults:
        show_faults(faults)
        sys.exit(FAILED)


def show_faults(faults: RuleFaults) -> None:
    """Print each fault on a line, place first, then what to do about it."""
    for fault in faults.faults:
        click.echo(f"{fault}\n    {fault.cure}", err=True)


@contextmanager
def only_for_owner() -> Iterator[None]:
    """Have files that are written be readable by nobody else: they hold readings."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)
