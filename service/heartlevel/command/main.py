"""`heartlevel`: assess files, serve, or show the demo.

Exit status of assess: 0 nothing to look at at once, 10 something urgent, 20 something unreadable, 30 both;
1 rule files at fault, 2 a wrong call such as a file that is not there.
"""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import IO, NoReturn

import click
import orjson

from heartlevel.answer.whole import as_json
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.options import FAILED, json_option, loaded, rules_options, show_faults
from heartlevel.command.rules.group import rules as rules_group
from heartlevel.command.summary import summary
from heartlevel.intake.ndjson import requests_in
from heartlevel.intake.request import RefusedRequest
from heartlevel.one_call import Outcome, answer_each, device_answer_to
from heartlevel.ruling.source import RuleFaults
from heartlevel.version import VERSION

URGENT, UNREADABLE = 10, 20


@click.group()
@click.version_option(VERSION)
def main() -> None:
    """Judge blood-pressure readings taken at home and in the office. Not a diagnosis."""


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.File("rb"))
@json_option
@rules_options
def assess(files: tuple[IO[bytes], ...], as_lines: bool, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Assess FILES: JSON (one request) or NDJSON (one a line); `-` is standard input."""
    rules = loaded(folder, layers)
    urgent = unreadable = 0
    for file in files:
        for outcome in answer_each(requests_in(file), rules):
            _show(outcome, as_lines, getattr(file, "name", "<stdin>"))
            urgent |= bool(outcome.answer and outcome.answer["urgent"])
            unreadable |= outcome.answer is None or bool(outcome.answer["problems"])
    sys.exit(URGENT * urgent + UNREADABLE * unreadable)


@main.command()
@json_option
@rules_options
def demo(as_lines: bool, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Assess the invented Harbour Lane practice."""
    rules = loaded(folder, layers)
    with HARBOUR_LANE.open("rb") as file:
        for outcome in answer_each(requests_in(file), rules):
            _show(outcome, as_lines, "demo")
    for caution in rules.ruleset.wording["en"].cautions:
        click.echo(caution, err=as_lines)


@main.command("device-check")
@click.argument("file", type=click.File("rb"))
@rules_options
def device_check(file: IO[bytes], folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Hold devices against references: FILE is a request to /v1/device-checks, `-` standard input; prints its answer."""
    rules = loaded(folder, layers)
    try:
        answer = device_answer_to(orjson.loads(file.read()), rules)
    except orjson.JSONDecodeError as error:
        _unreadable([f"not JSON: line {error.lineno}, column {error.colno}"])
    except RefusedRequest as error:
        _unreadable([str(error), *map(str, error.problems)])
    else:
        click.echo(as_json(answer))
        sys.exit(UNREADABLE if answer["problems"] else 0)


def _unreadable(lines: Iterable[str]) -> NoReturn:
    for line in lines:
        click.echo(line, err=True)
    sys.exit(UNREADABLE)


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=2, show_default=True, type=click.IntRange(1, 64))
def serve(host: str, port: int, workers: int) -> None:
    """Serve over HTTP with gunicorn.

    HEARTLEVEL_RULES names another directory of rule files, HEARTLEVEL_LAYERS a clinic's own over it (several, lowest
    first, are parted as in PATH).
    """
    from heartlevel.web.server import run

    try:
        run(f"{host}:{port}", workers)
    except RuleFaults as faults:
        show_faults(faults)
        sys.exit(FAILED)


def _show(outcome: Outcome, as_lines: bool, place: str) -> None:
    """Print an answer, or to standard error why there is none."""
    if outcome.answer is not None:
        click.echo(as_json(outcome.answer) if as_lines else summary(outcome.answer))
        return
    click.echo(f"{place}:{outcome.line}: {outcome.detail}", err=True)
    for one in outcome.problems:
        click.echo(f"{place}:{outcome.line}: {one}", err=True)


main.add_command(rules_group)
