"""A whole run: read, judge, write, and give the files their names."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeAlias

from heartlevel.assessment import Rules
from heartlevel.bulk.inputs import LINES, Input, WrongCall
from heartlevel.bulk.journal import PARTIAL, Journal, Written, beside, chained
from heartlevel.bulk.judging import Counts, Judged, Plan
from heartlevel.bulk.kinds import Kind
from heartlevel.bulk.opening import Meter
from heartlevel.bulk.parts import Part, Source, parts_of
from heartlevel.bulk.tables import checked_layout
from heartlevel.tables.meanings import Mapped
from heartlevel.version import VERSION

ROWS = ".rows"
Judge: TypeAlias = Callable[[Plan, Iterator[Part]], Iterator[tuple[Part, Judged]]]
Show: TypeAlias = Callable[[Part, Judged], None]


@dataclass(frozen=True, slots=True)
class Job:
    """What is asked for. Without `output`, what is made is only shown."""

    rules: Rules
    source: Source
    kind: Kind
    output: Path | None = None
    problems: Path | None = None
    resume: bool = False

    def plan(self) -> Plan:
        """Return what each part is judged with."""
        names = [one.name for one in self.source.inputs]
        return Plan(self.rules, names, self.source.layouts, self.source.mapped, self.kind)

    def head(self) -> dict[str, Any]:
        """Return what must be the same for a run to be resumed."""
        options = [self.kind.name, self.source.grouped, repr(self.source.mapped),
                   self.problems and str(self.problems.resolve())]  # fmt: skip
        return {
            "service": VERSION,
            "rules": self.rules.ruleset.fingerprint,
            "options": options,
            "inputs": [[one.name, one.format, one.size] for one in self.source.inputs],
        }


def source_of(inputs: list[Input], mapped: Mapped, grouped: bool = False) -> Source:
    """Look at the columns of all tables. Raises WrongCall where they cannot be understood."""
    layouts = {place: checked_layout(one, mapped) for place, one in enumerate(inputs) if one.format != LINES}
    return Source(inputs, layouts, mapped, grouped)


def meter_for(source: Source, moved: Callable[[int], None] = lambda position: None) -> Meter:
    """Return a meter that knows how much there is to read: rows brought together first are read twice."""
    sizes = [(one.size, 1 if one.format == LINES or source.grouped else 2) for one in source.inputs]
    known = [size * times for size, times in sizes if size is not None]
    return Meter(sum(known) if len(known) == len(sizes) else None, moved)


def carried_out(job: Job, judge: Judge, show: Show, meter: Meter) -> Counts:
    """Assess everything; return what was found, in parts of an earlier run too where one is resumed.

    Raises WrongCall if the run cannot be resumed, or the tables are not as they were said to be; ModuleNotFoundError
    where Parquet is to be written without pyarrow.
    """
    if job.kind.convert:
        import_module("pyarrow")  # before hours of work, not after
    if job.output is None:
        with TemporaryDirectory(prefix="heartlevel-") as folder:
            return _shown(job, judge(job.plan(), parts_of(job.source, Path(folder), meter)), show)
    if job.kind.is_tables:
        job.output.mkdir(exist_ok=True)
    with Journal(job.kind.files(job.output), job.problems, job.head(), job.resume, _begins(job)) as journal:
        written = journal.written
        assert written is not None
        if not written.done:
            with _emptied(beside(job.output, ROWS)) as folder:
                left = _left(parts_of(job.source, folder, meter), written)
                _write(journal, judge(job.plan(), left), show, written.digest)
        journal.finish(job.kind.convert)
        return written.counts


def _begins(job: Job) -> list[bytes]:
    """Return what stands first in each output."""
    if not job.kind.is_tables:
        return [job.kind.begins]
    from heartlevel.bulk.judging_tables import no_rows

    return no_rows(job.rules, [one.name for one in job.source.inputs])


@contextmanager
def _emptied(folder: Path) -> Iterator[Path]:
    """Hold an empty folder for the tables' rows; one that a killed run left is emptied, none is left behind."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def _write(journal: Journal, found: Iterator[tuple[Part, Judged]], show: Show, digest: str) -> None:
    for part, one in found:
        digest = chained(digest, part.digest())
        journal.add(one, digest)
        show(part, one)


def _left(parts: Iterator[Part], written: Written) -> Iterator[Part]:
    """Pass over the parts written by an earlier run, making sure that they are what they were."""
    digest = ""
    for _ in range(written.parts):
        part = next(parts, None)
        digest = chained(digest, part.digest() if part else "")
    if digest != written.digest:
        raise WrongCall("cannot resume: the inputs were changed in what was assessed already")
    return parts


def _shown(job: Job, found: Iterator[tuple[Part, Judged]], show: Show) -> Counts:
    counts = Counts()
    partial = beside(job.problems, PARTIAL) if job.problems else None
    with partial.open("wb") if partial else nullcontext() as problems:
        for part, one in found:
            counts.add(one.counts)
            if problems:
                problems.write(one.problems)
            show(part, one)
    if job.problems and partial:
        partial.replace(job.problems)
    return counts
