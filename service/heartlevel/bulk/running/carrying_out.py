"""A whole run: read, judge, write, and give the files their names."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeAlias

from heartlevel.assessment import Rules
from heartlevel.bulk.columns.layouts import checked_layout
from heartlevel.bulk.columns.time_formats import time_format_fault
from heartlevel.bulk.inputs.input import Input, TableFormat
from heartlevel.bulk.inputs.opening import Meter
from heartlevel.bulk.journal import ANEW, PARTIAL, Journal, Written, beside, chained
from heartlevel.bulk.outputs.registry import OutputFormat
from heartlevel.bulk.parts.parts import BulkInputs, BulkPart, parts_of
from heartlevel.bulk.running.judging import Plan
from heartlevel.bulk.running.results import Counts, JudgedPart
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.tables.meanings import Mapped
from heartlevel.version import VERSION

ROWS = ".rows"
Judgements: TypeAlias = Iterator[tuple[BulkPart, JudgedPart]]
Judge: TypeAlias = Callable[[Plan, Iterator[BulkPart]], Judgements]
Show: TypeAlias = Callable[[BulkPart, JudgedPart], None]


@dataclass(frozen=True, slots=True)
class Job:
    """What is asked for. Without `output`, what would be written is only shown."""

    rules: Rules
    inputs: BulkInputs
    format: OutputFormat
    output: Path | None = None
    problems: Path | None = None
    resume: bool = False

    def names(self) -> list[str]:
        """Return the names of the inputs."""
        return [source.name for source in self.inputs.inputs]

    def plan(self) -> Plan:
        """Return what each part is judged with."""
        formats = [source.format for source in self.inputs.inputs]
        return Plan(self.rules, self.names(), formats, self.inputs.layouts, self.inputs.mapped, self.format)

    def head(self) -> dict[str, Any]:
        """Return what must be the same for a run to be resumed."""
        options = [self.format.name, self.inputs.grouped, repr(self.inputs.mapped),
                   self.problems and str(self.problems.resolve())]  # fmt: skip
        return {
            "service": VERSION,
            "rules": self.rules.ruleset.fingerprint,
            "options": options,
            "inputs": [[source.name, source.format.name, source.size] for source in self.inputs.inputs],
        }


def bulk_inputs(inputs: list[Input], mapped: Mapped, grouped: bool = False) -> BulkInputs:
    """Look at the columns of all tables. Raises WrongCall where they, or times, are not as was said."""
    tables = {number: source for number, source in enumerate(inputs) if isinstance(source.format, TableFormat)}
    layouts = {number: checked_layout(table, mapped) for number, table in tables.items()}
    faults = {table.name: time_format_fault(table, layouts[number], mapped) for number, table in tables.items()}
    if any(faults.values()):
        raise WrongCall("\n".join(f"{name}: {fault}" for name, fault in faults.items() if fault))
    return BulkInputs(inputs, layouts, mapped, grouped)


def meter_for(inputs: BulkInputs, moved: Callable[[int], None] = lambda position: None) -> Meter:
    """Return a meter that knows how much there is to read: rows brought together first are read twice."""
    twice = () if inputs.grouped else inputs.layouts
    sizes = [source.size for source in inputs.inputs]
    known = [size * (2 if number in twice else 1) for number, size in enumerate(sizes) if size is not None]
    return Meter(sum(known) if len(known) == len(sizes) else None, moved)


def carried_out(job: Job, judge: Judge, show: Show, meter: Meter) -> Counts:
    """Assess everything; return the counts, with those of parts of an earlier run where one is resumed.

    Raises WrongCall if the run cannot be resumed, or the tables are not as they were said to be.
    """
    if job.output is None:
        with TemporaryDirectory(prefix="heartlevel-") as folder:
            return _shown(job, judge(job.plan(), parts_of(job.inputs, Path(folder), meter)), show)
    if job.format.tables:
        job.output.mkdir(exist_ok=True)
    first = job.format.first(job.rules, job.names())
    with Journal(job.format.files(job.output), job.problems, job.head(), job.resume, first) as journal:
        written = journal.written
        if not written.done:
            with _emptied(beside(job.output, ROWS)) as folder:
                left = _left(parts_of(job.inputs, folder, meter), written)
                _write(journal, judge(job.plan(), left), show, written.digest)
        journal.finish(job.format.convert)
        return written.counts


@contextmanager
def _emptied(folder: Path) -> Iterator[Path]:
    """Hold an empty folder for the tables' rows; one that a killed run left is emptied, none is left behind."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def _write(journal: Journal, judgements: Judgements, show: Show, digest: str) -> None:
    for part, judged in judgements:
        digest = chained(digest, part.digest())
        journal.add(judged, digest)
        show(part, judged)


def _left(parts: Iterator[BulkPart], written: Written) -> Iterator[BulkPart]:
    """Pass over the parts written by an earlier run, making sure that they are what they were."""
    digest = ""
    for _ in range(written.parts):
        part = next(parts, None)
        digest = chained(digest, part.digest() if part else "")
    if digest != written.digest:
        raise WrongCall(f"cannot resume: the inputs were changed in what was assessed already. {ANEW}")
    return parts


def _shown(job: Job, judgements: Judgements, show: Show) -> Counts:
    counts = Counts()
    partial = beside(job.problems, PARTIAL) if job.problems else None
    with partial.open("wb") if partial else nullcontext() as problems:
        for part, judged in judgements:
            counts.add(judged.counts)
            if problems:
                problems.write(judged.problems)
            show(part, judged)
    if job.problems and partial:
        partial.replace(job.problems)
    return counts
