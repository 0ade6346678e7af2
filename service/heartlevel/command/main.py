"""`heartlevel`: assess files, serve, or show the demo.

Exit status of assess: 0 nothing to look at at once, 10 something urgent, 20 something unreadable, 30 both;
1 rule files at fault, 2 a wrong call such as a file that is not there.
"""

import sys
from pathlib import Path
from typing import IO

import click

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.summary import summary
from heartlevel.intake.ndjson import requests_in
from heartlevel.one_call import Outcome, answer_each
from heartlevel.ruling.source import RuleFaults
from heartlevel.version import VERSION

URGENT, UNREADABLE, FAILED = 10, 20, 1
rules_option = click.option("--rules", "folder", type=click.Path(exists=True, file_okay=False, path_type=Path),
                            help="Directory of rule files; the shipped ones by default.")  # fmt: skip
json_option = click.option("--json", "as_lines", is_flag=True, help="One JSON answer a line instead of a summary.")


@click.group()
@click.version_option(VERSION)
def main() -> None:
    """Judge blood-pressure readings taken at home and in the office. Not a diagnosis."""


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.File("rb"))
@json_option
@rules_option
def assess(files: tuple[IO[bytes], ...], as_lines: bool, folder: Path | None) -> None:
    """Assess FILES: JSON (one request) or NDJSON (one a line); `-` is standard input."""
    rules = _load(folder)
    urgent = unreadable = 0
    for file in files:
        for outcome in answer_each(requests_in(file), rules):
            _show(outcome, as_lines, getattr(file, "name", "<stdin>"))
            urgent |= bool(outcome.answer and outcome.answer["urgent"])
            unreadable |= outcome.answer is None or bool(outcome.answer["problems"])
    sys.exit(URGENT * urgent + UNREADABLE * unreadable)


@main.command()
@json_option
@rules_option
def demo(as_lines: bool, folder: Path | None) -> None:
    """Assess the invented Harbour Lane practice."""
    rules = _load(folder)
    with HARBOUR_LANE.open("rb") as file:
        for outcome in answer_each(requests_in(file), rules):
            _show(outcome, as_lines, "demo")
    for caution in rules.ruleset.wording["en"].cautions:
        click.echo(caution, err=as_lines)


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=2, show_default=True, type=click.IntRange(1, 64))
def serve(host: str, port: int, workers: int) -> None:
    """Serve over HTTP with gunicorn. HEARTLEVEL_RULES names another directory of rule files."""
    from heartlevel.web.server import run

    run(f"{host}:{port}", workers)


def _load(folder: Path | None) -> Rules:
    try:
        return Rules.load(folder)
    except RuleFaults as faults:
        click.echo(str(faults), err=True)
        sys.exit(FAILED)


def _show(outcome: Outcome, as_lines: bool, place: str) -> None:
    """Print an answer, or to standard error why there is none."""
    if outcome.answer is not None:
        click.echo(as_json(outcome.answer) if as_lines else summary(outcome.answer))
        return
    click.echo(f"{place}:{outcome.line}: {outcome.detail}", err=True)
    for one in outcome.problems:
        hint = f" ({one.hint})" if one.hint else ""
        click.echo(f"{place}:{outcome.line}: {one.pointer or '/'}: {one.detail}{hint}", err=True)
