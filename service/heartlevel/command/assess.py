"""`heartlevel assess`: files of any size.

Exit status: 0 nothing to look at at once, 10 something urgent, 20 something unreadable, 30 both;
1 rule files at fault, or a worker lost, 2 a wrong call such as a file that is not there or a run that cannot be resumed.
"""

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from errno import EPIPE
from functools import cache, partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from heartlevel.assessment import Rules
from heartlevel.bulk.columns.mapping_file import mapped_by
from heartlevel.bulk.columns.understanding import describe_columns
from heartlevel.bulk.inputs.input import Input
from heartlevel.bulk.inputs.naming import inputs_of
from heartlevel.bulk.inputs.registry import INPUT_FORMATS
from heartlevel.bulk.outputs.registry import OUTPUT_FORMATS, OutputFormat, default_format, output_format
from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.carrying_out import Job, Judge, bulk_inputs, carried_out, meter_for
from heartlevel.bulk.running.deciding import keeping_decisions
from heartlevel.bulk.running.handing_out import PRINTED, handing_out
from heartlevel.bulk.running.judging import MakePages
from heartlevel.bulk.running.results import Counts, JudgedPart
from heartlevel.bulk.running.trying import failures_of
from heartlevel.bulk.running.workers import WorkerLost, on_this_machine
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.command.options import FAILED, UNREADABLE, URGENT, json_option, loaded, only_for_owner, rules_options
from heartlevel.command.progress import Progress
from heartlevel.command.summary import IN_FILE, cautions_in, summaries
from heartlevel.command.terminal.look import Look, look_of
from heartlevel.decisions.lines import LinesNotKept
from heartlevel.decisions.log import SETTING, DecisionLog
from heartlevel.intake.own.form import PLAIN_FORM
from heartlevel.located import AssessedSubjects, in_order_of_subjects
from heartlevel.tables.meanings import Mapped

WRONG_CALL = 2
FILE = click.Path(dir_okay=False, path_type=Path)
PLACE = click.Path(path_type=Path)
CORES = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
HELP = f"""Assess FILES: files, folders, globs; `-` is standard input.

{"; ".join(entry.about for entry in INPUT_FORMATS.values())}. Columns of tables are named as `systolic` or
`technique.talking`, or mapped by --columns. All but Parquet and spreadsheets may be compressed with gzip or zstd.

Answers come in the order of the requests; after them those from tables. A subject's rows may be anywhere in the
tables: they are brought together by way of temporary files, in the order of a hash of the subject's name. With
--grouped, rows of a subject must follow one another; they are then answered as they come, without such files.
"""


def write_summaries(
    groups: Sequence[AssessedSubjects],
    rules: Rules,
    names: Sequence[str],
    everything: bool = False,
    look: Look = IN_FILE,
) -> list[bytes]:
    """Write each answer's summary."""
    texts = in_order_of_subjects(groups, lambda group: summaries(group.conclusions, rules, everything, look))
    return [b"".join(f"{text}\n".encode() for text in texts)]


SUMMARY = OutputFormat("summary", "summary", write_summaries)
FORMATS = (SUMMARY, *OUTPUT_FORMATS)


@click.command("assess", help=HELP)
@click.argument("files", nargs=-1, required=True)
@json_option
@rules_options
@click.option("--from", "forced", type=click.Choice(list(INPUT_FORMATS)),
              help="Format of all FILES; else by ending, then content.")  # fmt: skip
@click.option("--to", type=click.Choice(list(dict.fromkeys(entry.to for entry in FORMATS))),
              help="What is written; findings are a CSV, one row a finding, or Parquet if the output's name ends so; "
              "tables are Parquet files in a folder, without wording.")  # fmt: skip
@click.option("--output", type=PLACE, help="Where to; by default standard output. Parquet needs one.")
@click.option(
    "--all", "everything", is_flag=True, help="Of a summary, all findings, steps and problems with their reasons."
)
@click.option("--patient-sheet", "sheet", type=PLACE, help="Where to write a page for each person, in plain words: "
              "a folder, or a file that ends in .html for one person.")  # fmt: skip
@click.option("--page", type=PLACE, help="Where to write a report on each person, with plots: a folder, or a file that "
              "ends in .html or .pdf for one person.")  # fmt: skip
@click.option("--columns", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="YAML file that says what the columns of a table mean.")  # fmt: skip
@click.option("--dry-run", is_flag=True, help="Say how each column is understood and what of the first "
              "thousand rows, or requests, would fail, and stop; no result is written and no value shown.")  # fmt: skip
@click.option("--grouped", is_flag=True, help="The tables' rows are grouped by subject already.")
@click.option("--problems", type=FILE, help="Where to name what could not be read: NDJSON, without values.")
@click.option("--workers", default=CORES, type=click.IntRange(1, 1024), help="Processes; by default one a core.")
@click.option("--scheduler", help="Address of a Dask scheduler whose workers are to assess.")
@click.option("--decisions", type=FILE, envvar=SETTING,
              help="Where to append what was decided: NDJSON, a line a subject, without values and names.")  # fmt: skip
@click.option("--resume", is_flag=True, help="Go on with a run that was interrupted; begin if there was none.")
@click.option("--progress", is_flag=True, help="Show progress even where standard error is no terminal.")
def assess_command(files: tuple[str, ...], folder: Path | None, layers: tuple[Path, ...], **options: Any) -> None:
    """Run `heartlevel assess`."""
    try:
        with only_for_owner():
            _assess(files, folder, layers, options)
    except (WrongCall, LinesNotKept) as wrong:
        click.echo(str(wrong), err=True)
        sys.exit(WRONG_CALL)
    except ModuleNotFoundError as missing:
        if missing.name != "distributed":
            raise
        click.echo("distributed is not installed: pip install 'heartlevel[distributed]'", err=True)
        sys.exit(WRONG_CALL)
    except OSError as error:
        if error.errno == EPIPE:
            raise
        click.echo(f"{error.filename or 'reading or writing'}: {error.strerror or error}", err=True)
        sys.exit(WRONG_CALL)
    except WorkerLost as lost:
        click.echo(f"{lost}; --resume goes on with what was written", err=True)
        sys.exit(FAILED)


def _assess(files: tuple[str, ...], folder: Path | None, layers: tuple[Path, ...], options: dict[str, Any]) -> None:
    written_as = _output_format(options)
    load = cache(partial(loaded, folder, layers))
    form = load().ruleset.choices.form if folder or layers else PLAIN_FORM  # shipped rules declare no facts
    mapped = mapped_by(options["columns"], form)
    written = (options["output"], options["problems"])
    inputs = inputs_of(files, sys.stdin.buffer, options["forced"], options["columns"] is not None, written)
    if options["dry_run"]:
        sys.exit(_dry_run(inputs, mapped, load))
    sources = bulk_inputs(inputs, mapped, options["grouped"])
    counts = _carried_out(Job(load(), sources, written_as, *written, options["resume"]), options)
    sys.exit(URGENT * bool(counts.urgent) + UNREADABLE * bool(counts.refused or counts.problems))


def _carried_out(job: Job, options: dict[str, Any]) -> Counts:
    progress = Progress(options["progress"] or sys.stderr.isatty())
    meter = meter_for(job.inputs, progress.moved)
    progress.start(meter.total)
    log = DecisionLog(options["decisions"])
    judge = keeping_decisions(_judge(options), log) if options["decisions"] else _judge(options)
    judge = handing_out(judge, _sheets(), options["sheet"]) if options["sheet"] else judge
    judge = handing_out(judge, _reports(options["page"]), options["page"]) if options["page"] else judge
    languages = set[str]()
    counts = carried_out(job, judge, partial(_show, job, progress, languages), meter)
    progress.end(counts)
    if job.format.name == SUMMARY.name:
        for caution in cautions_in(sorted(languages), job.rules, look_of(sys.stdout)):
            click.echo(caution, err=job.output is not None)
    if counts.problems and job.problems is None and job.format.hides_problems:
        click.echo(f"problems in what was read: {counts.problems}; --problems FILE names each", err=True)
    if log.lost:
        click.echo(f"decisions that could not be kept: {log.lost}", err=True)
    return counts


def _sheets() -> MakePages:
    from heartlevel.handouts.sheets_for import patient_pages

    return patient_pages


def _reports(output: Path) -> MakePages:
    """Return what makes the reports; raises WrongCall where what draws or prints them is not installed."""
    wanted = {"matplotlib": "pages", **({"weasyprint": "pdf"} if output.suffix == PRINTED else {})}
    for module, extra in wanted.items():
        if find_spec(module) is None:
            raise WrongCall(f"--page needs {module}: pip install 'heartlevel[{extra}]'")
    from heartlevel.report.page import printed_reports, report_pages

    return printed_reports if output.suffix == PRINTED else report_pages


def _judge(options: dict[str, Any]) -> Judge:
    """Return who assesses: the workers of a scheduler, or processes of this machine."""
    if options["scheduler"]:
        from heartlevel.distributed import on_scheduler

        return on_scheduler(options["scheduler"])
    return partial(on_this_machine, workers=options["workers"])


def _output_format(options: dict[str, Any]) -> OutputFormat:
    """Return the format of output asked for; raises WrongCall where it needs a file and there is none."""
    output, to = options["output"], options["to"] or ("ndjson" if options["as_lines"] else None)
    written_as = output_format(to, output, FORMATS) if to else default_format(output) if output else SUMMARY
    if output is None and (written_as.convert or options["resume"]):
        needs = "--resume" if options["resume"] else f"--to {written_as.to}"
        raise WrongCall(f"{needs} needs --output {'FOLDER' if written_as.tables else 'FILE'}")
    if output is not None and output.exists() and output.is_dir() != bool(written_as.tables):
        raise WrongCall(f"{output}: {'a folder' if written_as.tables else 'a file'} is to be written there")
    if output is not None and output == options["problems"]:
        raise WrongCall("--output and --problems name the same file")
    if written_as is SUMMARY:
        look = IN_FILE if output else look_of(sys.stdout)
        return replace(SUMMARY, write=partial(write_summaries, everything=options["everything"], look=look))
    return written_as


def _show(job: Job, progress: Progress, languages: set[str], part: BulkPart, judged: JudgedPart) -> None:
    """Print what is not written to files, and why there is no answer to some requests; note the answers' languages."""
    languages |= judged.languages
    if job.output is None:
        screen = sys.stdout.buffer
        screen.write(job.format.begins if part.number == 0 else b"")
        screen.write(b"".join(judged.outputs))
        screen.flush()
    for note in judged.notes if job.problems is None else ():
        click.echo(note, err=True)
    progress.done(part, judged)


def _dry_run(inputs: list[Input], mapped: Mapped, load: Callable[[], Rules]) -> int:
    """Say how columns are understood and, where all can be, what of the first rows would fail; nothing is written."""
    described = [describe_columns(source, mapped) for source in inputs]
    for lines, _ in described:
        click.echo("\n".join(lines))
    if not all(fits for _, fits in described):
        return WRONG_CALL
    sources, rules, any_failure = bulk_inputs(inputs, mapped), load(), False
    for number, source in enumerate(inputs):
        tried, failures = failures_of(sources, number, rules)
        click.echo("\n".join([f"{source.name}: first {tried} tried: {'would fail:' if failures else 'nothing would fail'}",
                              *(f"  ! {failure}" for failure in failures)]))  # fmt: skip
        any_failure |= bool(failures)
    return UNREADABLE if any_failure else 0
