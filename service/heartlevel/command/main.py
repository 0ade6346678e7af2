"""`heartlevel`: assess files, serve, or show the demo.

Exit status of assess and demo: 0 nothing to look at at once, 1 something urgent, 2 something unreadable,
3 both; other failures (rule files at fault, no such file) are 4.
"""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import click
import orjson

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.summary import summary
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.one_call import answer_to
from heartlevel.ruling.source import RuleFaults
from heartlevel.version import VERSION

URGENT, UNREADABLE, FAILED = 1, 2, 4
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
    status = 0
    for file in files:
        for number, payload in _payloads(file.read()):
            status |= _assess_one(payload, rules, as_lines, f"{file.name}:{number}")
    sys.exit(status)


@main.command()
@json_option
@rules_option
def demo(as_lines: bool, folder: Path | None) -> None:
    """Assess the invented Harbour Lane practice. """
    rules = _load(folder)
    for number, payload in _payloads(HARBOUR_LANE.read_bytes()):
        _assess_one(payload, rules, as_lines, f"demo:{number}")
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


def _payloads(raw: bytes) -> Iterator[tuple[int, Any]]:
    """Yield the requests of a file with their line numbers; a line that is no JSON as its error."""
    try:
        yield 1, orjson.loads(raw)
        return
    except orjson.JSONDecodeError as whole:
        lines = [(number, line) for number, line in enumerate(raw.splitlines(), start=1) if line.strip()]
        if len(lines) < 2:
            yield whole.lineno, whole
            return
    for number, line in lines:
        try:
            payload: Any = orjson.loads(line)
        except orjson.JSONDecodeError as error:
            payload = error
        yield number, payload


def _assess_one(payload: Any, rules: Rules, as_lines: bool, place: str) -> int:
    if isinstance(payload, orjson.JSONDecodeError):
        click.echo(f"{place}: not JSON: column {payload.colno}", err=True)
        return UNREADABLE
    try:
        answer = answer_to(payload, rules)
    except RefusedRequest as error:
        for one in error.problems:
            click.echo(f"{place}: {one.pointer or '/'}: {one.detail}{f' ({one.hint})' if one.hint else ''}", err=True)
        return UNREADABLE
    except TooManyReadings as error:
        click.echo(f"{place}: {error}", err=True)
        return UNREADABLE
    click.echo(as_json(answer) if as_lines else summary(answer))
    return (URGENT if answer["urgent"] else 0) | (UNREADABLE if answer["problems"] else 0)
