"""`heartlevel demo`: the invented Harbour Lane practice, one request a line of a shipped file."""

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import mkdtemp
from textwrap import fill, shorten
from typing import Any

import click

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules, assess_requests
from heartlevel.command.options import json_option, loaded, rules_options
from heartlevel.command.summary import cautions_in, summaries
from heartlevel.command.terminal.look import Look, look_of
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.handouts.asked_logs import blank_log
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.sheets_for import patient_pages
from heartlevel.intake.faults import near
from heartlevel.intake.ndjson import requests_in_file
from heartlevel.intake.request import Request
from heartlevel.one_call import Outcome, answers_with_others, line_of, read_decoded
from heartlevel.report.drawing import can_draw
from heartlevel.report.page import report_pages
from heartlevel.resources import shipped

HARBOUR_LANE = shipped("demo") / "harbour-lane.ndjson"
HEADINGS = ("person", "urgent", "category", "home and office", "what to change first")
LAYOUT = "{:6}  {:6}  {:24}  {:21}  {}"
UNSURE = " ?"
CATEGORY_WIDTH, STEP_WIDTH = 24, 33
MOST_REPORTS = 5  # a report takes a tenth of a second to draw
LEGEND = (
    "? - another selection of the same readings would give another category.",
    "(+2) - so many other things to change.",
    "`heartlevel demo s-07` shows a person in full, `heartlevel demo --json` every answer as a program gets it.",
)


@click.command()
@click.argument("people", nargs=-1)
@json_option
@click.option("--pages", type=click.Path(file_okay=False, path_type=Path),
              help="Folder for the pages; by default a new one among temporary files, and none with --json.")  # fmt: skip
@rules_options
def demo(
    people: tuple[str, ...], as_lines: bool, pages: Path | None, folder: Path | None, layers: tuple[Path, ...]
) -> None:
    """Assess an invented practice: a line a person, or PEOPLE in full.

    PEOPLE are named as in the table, such as s-07.
    """
    rules = loaded(folder, layers)
    with HARBOUR_LANE.open("rb") as file:
        read = [read_decoded(line_of(sent), sent, rules) for sent in requests_in_file(file)]
    for line in _unanswered([outcome for outcome in read if isinstance(outcome, Outcome)]):
        click.echo(line, err=True)
    chosen = _chosen([request for request in read if isinstance(request, Request)], people)
    look = look_of(sys.stdout)
    conclusions = conclude(assess_requests(chosen, rules))
    if as_lines:
        click.echo(b"\n".join(map(as_json, answers_with_others(conclusions, rules))))
    elif people:
        click.echo("\n".join(summaries(conclusions, rules, everything=True, look=look)))
    else:
        click.echo("\n".join(_table(list(answers_with_others(conclusions, rules)), look)))
    if pages or not as_lines:
        for line in _pages(conclusions, rules, pages or Path(mkdtemp(prefix="heartlevel-demo-")), look):
            click.echo(line, err=as_lines)
    for caution in cautions_in(["en"], rules, look):
        click.echo(caution, err=as_lines)


def _pages(conclusions: Conclusions, rules: Rules, folder: Path, look: Look) -> Iterator[str]:
    """Write the sheet of each person and an empty log; yield where they are."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [request.subject["id"] for request in conclusions.assessment.batch.requests]
    for name, content in zip(names, patient_pages(conclusions, rules), strict=True):
        (folder / f"{name}.html").write_bytes(content)
    reported = list(_reports(conclusions, rules, folder))
    (folder / "log.html").write_bytes(log_page(blank_log({}, rules)))
    first = f"{names[0]}.html" if names else "-"
    written = [f"a sheet for each person ({first})", *([f"reports on some ({reported[0]})"] if reported else [])]
    yield fill(
        f"Pages in {folder}: {', '.join(written)}, an empty log (log.html).",
        look.width,
        break_long_words=False,
        break_on_hyphens=False,
    )
    yield ""


def _reports(conclusions: Conclusions, rules: Rules, folder: Path) -> Iterator[str]:
    """Write reports for a clinician on the first people, if what draws plots is installed; yield their names."""
    if not can_draw():
        return
    requests = conclusions.assessment.batch.requests[:MOST_REPORTS]
    for request, content in zip(requests, report_pages(conclusions, rules), strict=False):
        name = f"report-{request.subject['id']}.html"
        (folder / name).write_bytes(content)
        yield name


def _unanswered(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Yield why a request has no answer: other rules may lack a guideline it asks for."""
    for outcome in outcomes:
        yield f"demo:{outcome.line}: {outcome.detail}"
        yield from (f"demo:{outcome.line}: {problem}" for problem in outcome.problems)


def _chosen(requests: list[Request], people: Sequence[str]) -> list[Request]:
    """Return the requests about the people named, all if none is; raises BadParameter for a name that is not there."""
    by_name = {request.subject["id"]: request for request in requests}
    for name in people:
        if name not in by_name:
            raise click.BadParameter(f"nobody in this practice is called {name!r} ({near(name, by_name)})")
    return [by_name[name] for name in people] if people else requests


def _table(answers: Sequence[dict[str, Any]], look: Look) -> Iterator[str]:
    """Yield the table of the practice, a line a person, and what its marks mean."""
    urgent = sum(answer["urgent"] for answer in answers)
    yield f"Harbour Lane, an invented practice. People: {len(answers)}; with something urgent: {urgent}."
    yield ""
    yield LAYOUT.format(*HEADINGS)
    for answer in answers:
        label = answer["pattern"]["label"]
        mark = "URGENT" if answer["urgent"] else ""
        yield LAYOUT.format(
            answer["subject"]["id"], mark, _category(answer["classification"]), label, _step(answer)
        ).rstrip()
    yield ""
    yield from (fill(line, look.width) for line in LEGEND)
    yield ""


def _category(classification: dict[str, Any]) -> str:
    """Return the title of the category, or why none is given, in the width of its column."""
    if classification["category"] is None:
        return shorten(f"none: {classification['reason'].replace('-', ' ')}", CATEGORY_WIDTH, placeholder=" …")
    mark = "" if classification["holds"] else UNSURE
    return shorten(classification["title"], CATEGORY_WIDTH - len(mark), placeholder=" …") + mark


def _step(answer: dict[str, Any]) -> str:
    """Return the most important next step by its short name, and how many there are besides."""
    steps = [step["code"].replace("-", " ") for step in answer["next_steps"]]
    if not steps:
        return ""
    more = f" (+{len(steps) - 1})" if len(steps) > 1 else ""
    return shorten(steps[0], STEP_WIDTH - len(more), placeholder=" …") + more
