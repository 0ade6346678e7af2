"""`heartlevel rules format`: rule files in one layout."""

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from heartlevel.command.options import FAILED, show_faults
from heartlevel.command.writing import replacement
from heartlevel.resources import shipped
from heartlevel.ruling.files.directories.listing import listing_of
from heartlevel.ruling.files.source import source_file
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.ruling.tools.commented import NotFormatted
from heartlevel.ruling.tools.formatting import block_of, formatted

PATH = click.Path(exists=True, path_type=Path)


@click.command("format")
@click.argument("paths", nargs=-1, type=PATH)
@click.option("--check", is_flag=True, help="Write nothing; list the files not in the layout and end with status 1.")
def format_rules(paths: tuple[Path, ...], check: bool) -> None:
    """Bring rule files into one layout: PATHS are files or directories (with --check by default the shipped rules).

    Content and comments stay as they are. A file that cannot be read, or whose comments could not be kept, is
    left alone and named, and the status is 1.
    """
    if not paths and not check:
        raise click.UsageError("name the files or directories to format")
    refused = changed = 0
    for path in _files(paths or (shipped("rules"),)):
        try:
            changed += _format(path, check)
        except NotFormatted as error:
            refused += 1
            click.echo(f"{path}:{error.line}:1: left alone: {error}", err=True)
        except RuleFaults as faults:
            refused += 1
            show_faults(faults)
        except OSError as error:
            refused += 1
            click.echo(f"{path}: left alone: {error.strerror}", err=True)
    sys.exit(FAILED if refused or check and changed else 0)


def _files(paths: Sequence[Path]) -> Iterator[Path]:
    files = (file for path in paths for file in (listing_of(path).files.values() if path.is_dir() else [path]))
    yield from dict.fromkeys(files)


def _format(path: Path, check: bool) -> bool:
    """Format one file, or only look; return whether it is not in the layout."""
    text, wanted = _read(path)
    if text == wanted:
        return False
    if not check:
        _replace(path.resolve(), wanted)
    click.echo(f"{path}: {'not in the layout' if check else 'formatted'}")
    return True


def _read(path: Path) -> tuple[str, str]:
    """Return a file's text as it is and in the one layout. Raises NotFormatted, or RuleFaults if it cannot be read."""
    block = block_of(path)
    if block is None:
        raise NotFormatted(1, "in no folder of rules, so that the order of its fields is not known")
    _data(path)
    text = path.read_bytes().decode("utf-8")
    return text, formatted(text, block)


def _data(path: Path, shown_as: str | None = None) -> Any:
    file = source_file(path, shown_as or str(path))
    if file.faults:
        raise RuleFaults(file.faults)
    return file.data


def _replace(path: Path, wanted: str) -> None:
    """Put a text in a file's place in one step, after reading it back as the same data."""

    def check(new: Path) -> None:
        if _canonical(_data(new, str(path))) != _canonical(_data(path)):
            raise NotFormatted(1, "its content would not stay the same")

    replaced_by(path, wanted, check)


def replaced_by(path: Path, wanted: str, check: Callable[[Path], Any] = _data) -> None:
    """Put a text in a file's place in one step, once `check` has not raised for it; by default it has to be readable."""
    with replacement(path, wanted) as new:
        check(new)


def _canonical(data: Any) -> str:
    return json.dumps(data, sort_keys=True, default=str)
