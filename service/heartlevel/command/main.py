"""`heartlevel`: assess files, serve, or show the demo."""

import sys
from pathlib import Path

import click

from heartlevel.answer.whole import as_json
from heartlevel.command.assess import assess
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.device_check import device_check
from heartlevel.command.options import FAILED, json_option, loaded, rules_options, show_faults
from heartlevel.command.rules.group import rules as rules_group
from heartlevel.command.summary import summary
from heartlevel.intake.ndjson import requests_in
from heartlevel.one_call import Outcome, answer_each
from heartlevel.ruling.source import RuleFaults
from heartlevel.version import VERSION


@click.group()
@click.version_option(VERSION)
def main() -> None:
    """Judge blood-pressure readings taken at home and in the office. Not a diagnosis."""


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


main.add_command(assess)
main.add_command(device_check)
main.add_command(rules_group)
