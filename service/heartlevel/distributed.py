"""Assessment by the workers of a Dask scheduler: `pip install heartlevel[distributed]`.

    >>> from dask.distributed import LocalCluster
    >>> from heartlevel import Rules
    >>> from heartlevel.distributed import assess_files
    >>> with LocalCluster(n_workers=2, threads_per_worker=1) as cluster:
    ...     assess_files(["readings.csv"], "answers.ndjson", Rules.load(), cluster.scheduler_address)

This process reads the inputs, cuts them into the same parts as a run on one machine does (no subject is split) and
writes what comes back in their order, so that the output is the same to the byte. A worker that is lost costs only
time: its parts are assessed again by another. Workers need this package and the same Python; they need no access to
the files or to the rules' directory.
"""

import pickle
from collections import deque
from collections.abc import Iterator, Sequence
from pathlib import Path
from sys import stdin

from distributed import Client, Future

from heartlevel.assessment import Rules
from heartlevel.bulk.columns.mapping_file import mapped_by
from heartlevel.bulk.inputs.naming import inputs_of
from heartlevel.bulk.outputs.registry import default_format
from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.carrying_out import Job, Judge, Judgements, bulk_inputs, carried_out, meter_for
from heartlevel.bulk.running.judging import Plan, judge_part
from heartlevel.bulk.running.results import Counts, JudgedPart
from heartlevel.bulk.running.workers import AHEAD
from heartlevel.bulk.wrong_call import WrongCall

RETRIES = 5


def assess_files(
    inputs: Sequence[str | Path],
    output: str | Path,
    rules: Rules,
    scheduler: str,
    *,
    columns: Path | None = None,
    problems: Path | None = None,
    grouped: bool = False,
    resume: bool = False,
) -> Counts:
    """Assess files as `heartlevel assess INPUTS --output OUTPUT --scheduler ADDRESS` does; return the counts.

    The output is NDJSON, or Parquet where its name ends in `.parquet`. Raises WrongCall for inputs that are not there,
    columns that are not understood, runs that cannot be resumed and a scheduler that does not answer.
    """
    output, mapped = Path(output), mapped_by(columns, rules.ruleset.choices.form)
    named = inputs_of([str(path) for path in inputs], stdin.buffer, None, columns is not None, (output, problems))
    job = Job(rules, bulk_inputs(named, mapped, grouped), default_format(output), output, problems, resume)
    return carried_out(job, on_scheduler(scheduler), lambda part, judged: None, meter_for(job.inputs))


def on_scheduler(address: str) -> Judge:
    """Return what judges parts by the workers of a scheduler, a few ahead for each of their threads."""

    def judge(plan: Plan, parts: Iterator[BulkPart]) -> Judgements:
        with _client(address) as client:
            # A task, unlike data sent out, is done again when the worker that holds its result is lost.
            there = client.submit(pickle.loads, pickle.dumps(plan), pure=False)
            client.wait_for_workers(1)
            ahead = AHEAD * max(1, sum(client.nthreads().values()))
            waiting: deque[tuple[BulkPart, Future[JudgedPart]]] = deque()
            for part in parts:
                waiting.append((part, client.submit(judge_part, there, part, pure=False, retries=RETRIES)))
                if len(waiting) >= ahead:
                    first, future = waiting.popleft()
                    yield first, future.result()
            for first, future in waiting:
                yield first, future.result()

    return judge


def _client(address: str) -> Client:
    try:
        return Client(address)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:  # no answer, or no address
        raise WrongCall(f"no scheduler answers at {address}") from error
