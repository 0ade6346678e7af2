"""`heartlevel assess`: files of any size.

Exit status: 0 nothing to look at at once, 10 something urgent, 20 something unreadable, 30 both;
1 rule files at fault, or a worker lost, 2 a wrong call such as a file that is not there or a run that cannot be resumed.
"""

import os
import sys
from errno import EPIPE
from functools import partial
from pathlib import Path
from typing import Any

import click

from heartlevel.bulk import carrying_out as bulk
from heartlevel.bulk import kinds
from heartlevel.bulk.inputs import FORMATS, Input, WrongCall, inputs_of
from heartlevel.bulk.judging import Counts, Judged
from heartlevel.bulk.mapping import mapped_by
from heartlevel.bulk.parts import Part
from heartlevel.bulk.running import WorkerLost, on_this_machine
from heartlevel.bulk.understanding import understood
from heartlevel.command.options import FAILED, UNREADABLE, URGENT, json_option, loaded, rules_options
from heartlevel.command.progress import Progress
from heartlevel.command.summary import summary
from heartlevel.tables.meanings import Mapped

WRONG_CALL = 2
KINDS = ("summary", "ndjson", "parquet", "findings", "tables")
EXTRAS = {"pyarrow": "bulk", "distributed": "distributed"}
FILE = click.Path(dir_okay=False, path_type=Path)
PLACE = click.Path(path_type=Path)
CORES = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@click.command()
@click.argument("files", nargs=-1, required=True)
@json_option
@rules_options
@click.option("--from", "forced", type=click.Choice(FORMATS), help="Format of all FILES; else by ending, then content.")
@click.option("--to", "kind", type=click.Choice(KINDS), help="What is written; findings are a CSV, one row a finding, or "
              "Parquet if the output's name ends so; tables are Parquet files in a folder, without wording.")  # fmt: skip
@click.option("--output", type=PLACE, help="Where to; by default standard output. Parquet needs one.")
@click.option("--columns", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="YAML file that says what the columns of a table mean.")  # fmt: skip
@click.option("--dry-run", is_flag=True, help="Say how each column is understood, and stop.")
@click.option("--grouped", is_flag=True, help="The tables' rows are grouped by subject already.")
@click.option("--problems", type=FILE, help="Where to name what could not be read: NDJSON, without values.")
@click.option("--workers", default=CORES, type=click.IntRange(1, 1024), help="Processes; by default one a core.")
@click.option("--scheduler", help="Address of a Dask scheduler whose workers are to assess.")
@click.option("--resume", is_flag=True, help="Go on with a run that was interrupted; begin if there was none.")
@click.option("--progress", is_flag=True, help="Show progress even where standard error is no terminal.")
def assess(files: tuple[str, ...], folder: Path | None, layers: tuple[Path, ...], **options: Any) -> None:
    """Assess FILES: files, folders, globs; `-` is standard input.

    JSON (one request, or an array), NDJSON (a request a line), CSV and Parquet (a reading a row, columns named as
    `systolic` or `technique.talking`, or mapped by --columns); all but Parquet may be compressed with gzip or zstd.

    Answers come in the order of the requests; after them those from tables. A subject's rows may be anywhere in the
    tables: they are brought together by way of temporary files, in the order of a hash of the subject's name. With
    --grouped, rows of a subject must follow one another; they are then answered as they come, without such files.
    """
    try:
        _assess(files, folder, layers, options)
    except WrongCall as wrong:
        click.echo(str(wrong), err=True)
        sys.exit(WRONG_CALL)
    except ModuleNotFoundError as missing:
        if missing.name not in EXTRAS:
            raise
        click.echo(f"{missing.name} is not installed: pip install 'heartlevel[{EXTRAS[missing.name]}]'", err=True)
        sys.exit(WRONG_CALL)
    except OSError as error:
        if error.errno == EPIPE:
            raise
        click.echo(f"{error.filename or 'reading or writing'}: {error.strerror or error}", err=True)
        sys.exit(WRONG_CALL)
    except WorkerLost:
        click.echo("a worker process was ended from outside; --resume goes on with what was written", err=True)
        sys.exit(FAILED)


def _assess(files: tuple[str, ...], folder: Path | None, layers: tuple[Path, ...], options: dict[str, Any]) -> None:
    kind = _kind(options)
    mapped = mapped_by(options["columns"])
    written = (options["output"], options["problems"])
    inputs = inputs_of(files, sys.stdin.buffer, options["forced"], options["columns"] is not None, written)
    if options["dry_run"]:
        sys.exit(_dry_run(inputs, mapped))
    source = bulk.source_of(inputs, mapped, options["grouped"])
    job = bulk.Job(loaded(folder, layers), source, kind, *written, options["resume"])
    counts = _carried_out(job, options)
    sys.exit(URGENT * bool(counts.urgent) + UNREADABLE * bool(counts.refused or counts.problems))


def _carried_out(job: bulk.Job, options: dict[str, Any]) -> Counts:
    progress = Progress(options["progress"] or sys.stderr.isatty())
    meter = bulk.meter_for(job.source, progress.moved)
    progress.start(meter.total)
    counts = bulk.carried_out(job, _judge(options), partial(_show, job, progress), meter)
    progress.end(counts)
    if counts.problems and job.problems is None and job.kind in (kinds.FINDINGS_CSV, kinds.FINDINGS_TABLE):
        click.echo(f"problems in what was read: {counts.problems}; --problems FILE names each", err=True)
    return counts


def _judge(options: dict[str, Any]) -> bulk.Judge:
    """Return who assesses: the workers of a scheduler, or processes of this machine."""
    if options["scheduler"]:
        from heartlevel.distributed import on_scheduler

        return on_scheduler(options["scheduler"])
    return partial(on_this_machine, workers=options["workers"])


def _kind(options: dict[str, Any]) -> kinds.Kind:
    """Return the kind of output asked for; raises WrongCall where it needs a file and there is none."""
    output = options["output"]
    as_table = output is not None and output.suffix == ".parquet"
    asked = options["kind"] or ("ndjson" if options["as_lines"] else None)
    asked = asked or ("parquet" if as_table else "ndjson" if output else "summary")
    if output is None and (asked in ("parquet", "tables") or options["resume"]):
        needs = "--resume" if options["resume"] else f"--to {asked}"
        raise WrongCall(f"{needs} needs --output {'FOLDER' if asked == 'tables' else 'FILE'}")
    if output is not None and output.exists() and output.is_dir() != (asked == "tables"):
        raise WrongCall(f"{output}: {'a folder' if asked == 'tables' else 'a file'} is to be written there")
    if output is not None and output == options["problems"]:
        raise WrongCall("--output and --problems name the same file")
    if asked == "findings":
        return kinds.FINDINGS_TABLE if as_table else kinds.FINDINGS_CSV
    return {"summary": SUMMARY, "ndjson": kinds.NDJSON, "parquet": kinds.ANSWERS_TABLE, "tables": kinds.TABLES}[asked]


def summary_lines(answer: dict[str, Any]) -> bytes:
    """Write an answer's summary."""
    return f"{summary(answer)}\n".encode()


SUMMARY = kinds.Kind("summary", summary_lines)


def _show(job: bulk.Job, progress: Progress, part: Part, judged: Judged) -> None:
    """Print what is not written to files, and why some of it has no answer."""
    if job.output is None:
        screen = sys.stdout.buffer
        screen.write(job.kind.begins if part.number == 0 else b"")
        screen.write(b"".join(judged.outputs))
        screen.flush()
    for note in judged.notes if job.problems is None else ():
        click.echo(note, err=True)
    progress.done(part, judged)


def _dry_run(inputs: list[Input], mapped: Mapped) -> int:
    fits = True
    for one in inputs:
        lines, whole = understood(one, mapped)
        click.echo("\n".join(lines))
        fits = fits and whole
    return 0 if fits else WRONG_CALL
