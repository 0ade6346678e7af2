"""`heartlevel rules try`: what candidate rules would change for real requests."""

import sys
from collections.abc import Iterator
from os import SEEK_END
from pathlib import Path
from typing import IO, Any

import click
import orjson

from heartlevel.assessment import Rules
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.options import DIRECTORY, candidate, json_option, loaded, rules_options
from heartlevel.intake.ndjson import requests_in_file
from heartlevel.trial import Changed, Totals, changes


@click.command("try")
@click.argument("directory", metavar="[CANDIDATE]", required=False, type=DIRECTORY)
@click.option("--on", "files", type=click.File("rb"), multiple=True, default=[str(HARBOUR_LANE)],
              help="Requests, JSON or NDJSON; may be given again. By default the invented practice.")  # fmt: skip
@click.option("--most", default=20, show_default=True, type=click.IntRange(0), help="Subjects to list.")
@json_option
@rules_options
def try_(
    directory: Path | None,
    files: tuple[IO[bytes], ...],
    most: int,
    as_lines: bool,
    folder: Path | None,
    layers: tuple[Path, ...],
) -> None:
    """Answer requests under the rules in force and under CANDIDATE, and count and list what would change.

    CANDIDATE is a directory of rules, or a clinic's layer: it takes the place of the layer in force that has its id, and
    lies over all others if there is none.
    """
    before, after = loaded(folder, layers), candidate(directory, folder, layers)
    totals = Totals()
    for changed in _with_progress(files, before, after):
        totals.add(changed)
        if changed.fields and (as_lines or totals.changed <= most):
            click.echo(orjson.dumps(changed.as_dict()) if as_lines else "\n".join(_lines(changed)))
    click.echo(orjson.dumps(totals.as_dict()) if as_lines else "\n".join(_summary(totals)))


def _with_progress(files: tuple[IO[bytes], ...], before: Rules, after: Rules) -> Iterator[Changed]:
    """Yield the changes of all files, with a bar on standard error where that is a terminal."""
    total = sum(_length(file) for file in files)
    with click.progressbar(length=total, file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        for file in files:
            for changed in changes(requests_in_file(file), before, after):
                if file.seekable():
                    bar.update(file.tell() - bar.pos)
                yield changed


def _length(file: IO[bytes]) -> int:
    """Return a file's length in bytes, 0 where it comes through a pipe."""
    if not file.seekable():
        return 0
    length = file.seek(0, SEEK_END)
    file.seek(0)
    return length


def _lines(changed: Changed) -> Iterator[str]:
    yield f"{changed.subject} (line {changed.line})"
    for name, value in changed.fields.items():
        if name == "findings":
            parts = [f"{how} {', '.join(value[how])}" for how in ("gained", "lost") if value[how]]
            yield f"    findings: {'; '.join(parts)}"
        elif "before" in value:
            yield f"    {name}: {_shown(value['before'])} -> {_shown(value['after'])}"
        else:
            yield from (
                f"    {name}: {key}: {_shown(pair['before'])} -> {_shown(pair['after'])}" for key, pair in value.items()
            )


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "/".join(str(part) for part in value.values())
    return "none" if value is None else str(value).lower() if isinstance(value, bool) else str(value)


def _summary(totals: Totals) -> Iterator[str]:
    otherwise = (
        f"; {totals.in_other_parts_only} more in words, steps or figures alone" if totals.in_other_parts_only else ""
    )
    yield f"{totals.changed} of {totals.subjects} subjects would change{otherwise}"
    for title, counts in totals.as_dict().items():
        if isinstance(counts, dict) and counts:
            yield f"    {title.replace('_', ' ')}: {', '.join(f'{name} {count}' for name, count in counts.items())}"
