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
from heartlevel.bulk.carrying_out import Job, Judge, carried_out, meter_for, source_of
from heartlevel.bulk.inputs import WrongCall, inputs_of
from heartlevel.bulk.judging import Counts, Judged, Plan, judged
from heartlevel.bulk.kinds import ANSWERS_TABLE, NDJSON
from heartlevel.bulk.mapping import mapped_by
from heartlevel.bulk.parts import Part
from heartlevel.bulk.running import AHEAD

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
    """Assess files as `heartlevel assess INPUTS --output OUTPUT --scheduler ADDRESS` does; return what was found.

    The output is NDJSON, or Parquet where its name ends in `.parquet`. Raises WrongCall for inputs that are not there,
    columns that are not understood, runs that cannot be resumed and a scheduler that does not answer.
    """
    output, mapped = Path(output), mapped_by(columns)
    found = inputs_of([str(one) for one in inputs], stdin.buffer, None, columns is not None, (output, problems))
    kind = ANSWERS_TABLE if output.suffix == ".parquet" else NDJSON
    job = Job(rules, source_of(found, mapped, grouped), kind, output, problems, resume)
    return carried_out(job, on_scheduler(scheduler), lambda part, judged: None, meter_for(job.source))


def on_scheduler(address: str) -> Judge:
    """Return what judges parts by the workers of a scheduler, a few ahead for each of their threads."""

    def judge(plan: Plan, parts: Iterator[Part]) -> Iterator[tuple[Part, Judged]]:
        with _client(address) as client:
            # A task, unlike data sent out, is done again when the worker that holds its result is lost.
            there = client.submit(pickle.loads, pickle.dumps(plan), pure=False)
            client.wait_for_workers(1)
            ahead = AHEAD * max(1, sum(client.nthreads().values()))
            waiting: deque[tuple[Part, Future[Judged]]] = deque()
            for part in parts:
                waiting.append((part, client.submit(judged, there, part, pure=False, retries=RETRIES)))
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
