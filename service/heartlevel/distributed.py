"""Assessment by the workers of a Dask scheduler: `pip install heartlevel[distributed]`.

    >>> from dask.distributed import LocalCluster
    >>> from heartlevel import Rules
    >>> from heartlevel.distributed import assess_files
    >>> with LocalCluster(n_workers=2, threads_per_worker=1) as cluster:
    ...     assess_files(["readings.csv"], "answers.ndjson", Rules.load(), cluster.scheduler_address)

This process reads the inputs, cuts them into the same parts as a run on one machine does (no subject is split) and
writes what comes back in their order, so that the output is the same to the byte. A worker that is lost costs only
time: its parts are assessed again by another. The rules are sent along, whatever rules a worker has of its own; its
program, Python and libraries of numbers must be those of this process, or the run ends and names it.
"""

import pickle
import platform
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from sys import stdin
from typing import Any

from distributed import Client, Future, KilledWorker, get_worker
from distributed.client import FutureCancelledError
from distributed.comm.core import CommClosedError

from heartlevel.assessment import Rules
from heartlevel.bulk.columns.mapping_file import mapped_by
from heartlevel.bulk.inputs.naming import inputs_of
from heartlevel.bulk.outputs.registry import default_format
from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.carrying_out import Job, Judge, Judgements, bulk_inputs, carried_out, meter_for
from heartlevel.bulk.running.judging import Plan, judge_part
from heartlevel.bulk.running.results import Counts, JudgedPart
from heartlevel.bulk.running.workers import AHEAD, WorkerLost
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.version import VERSION

RETRIES = 5
FIRST_WORKER_SECONDS = 60
# What a scheduler that is gone is noticed by: a result that will not come, or a connection that breaks.
LOST = (FutureCancelledError, CommClosedError, ConnectionError)
LOOK_SECONDS = 10  # between two looks at whether there is anybody left to wait for
DECISIVE = ("numpy", "scipy", "pandas", "pyarrow", "orjson")  # libraries that the bytes of an answer depend on


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
    """Return what judges parts by the workers of a scheduler, a few ahead for each of their threads.

    It raises WrongCall for workers that are not as this process is, or none, and WorkerLost if nobody is left.
    """

    def judge(plan: Plan, parts: Iterator[BulkPart]) -> Judgements:
        with _client(address) as client:
            try:
                yield from _judged(client, address, plan, parts)
            except LOST as error:
                raise WorkerLost(f"the scheduler at {address} was lost") from error

    return judge


def _judged(client: Any, address: str, plan: Plan, parts: Iterator[BulkPart]) -> Judgements:
    _refuse_strangers(client, address)
    # A task, unlike data sent out, is done again when the worker that holds its result is lost.
    there = client.submit(pickle.loads, pickle.dumps(plan), pure=False)
    ahead = AHEAD * max(1, sum(client.nthreads().values()))
    waiting: deque[tuple[BulkPart, Future[JudgedPart]]] = deque()
    for part in parts:
        waiting.append((part, client.submit(_judged_there, there, part, ours(), pure=False, retries=RETRIES)))
        if len(waiting) >= ahead:
            first, future = waiting.popleft()
            yield first, _result(future, client, address)
    for first, future in waiting:
        yield first, _result(future, client, address)


@cache
def ours() -> dict[str, str]:
    """Return what the bytes of an answer depend on beside rules and readings: versions, a hash of our modules."""
    modules = sorted(Path(str(files("heartlevel"))).rglob("*.py"))
    return {
        "heartlevel": VERSION,
        "source of heartlevel": sha256(b"\0".join(module.read_bytes() for module in modules)).hexdigest()[:12],
        "Python": platform.python_version(),
        **{library: version(library) for library in DECISIVE},
    }


def version_differences(worker: str, theirs: Mapping[str, str], expected: Mapping[str, str]) -> list[str]:
    """Return a line for each thing in which a worker is not as it should be."""
    return [
        f"worker {worker} has {name} {theirs.get(name, '(none)')}, this process {there}"
        for name, there in expected.items()
        if theirs.get(name) != there
    ]


def _judged_there(plan: Plan, part: BulkPart, expected: Mapping[str, str]) -> JudgedPart:
    """Judge a part on a worker, which may have come after the others were looked at."""
    if amiss := version_differences(get_worker().address, ours(), expected):
        raise WrongCall("\n".join(amiss))
    return judge_part(plan, part)


def _refuse_strangers(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=FIRST_WORKER_SECONDS)
    except TimeoutError:
        raise WrongCall(f"the scheduler at {address} has no worker") from None
    # By name: a worker without this package, or with an older one, has no such function to be sent.
    theirs: dict[str, Any] = client.run(_described, on_error="return")
    lines = [line for worker in sorted(theirs) for line in _amiss(worker, theirs[worker])]
    if lines:
        raise WrongCall("\n".join(lines))


def _described() -> dict[str, str]:
    return ours()


def _amiss(worker: str, described: dict[str, str] | Exception) -> list[str]:
    if isinstance(described, Exception):
        return [f"worker {worker} cannot say what it runs ({type(described).__name__}): it needs heartlevel {VERSION}"]
    return version_differences(worker, described, ours())


def _result(future: "Future[JudgedPart]", client: Client, address: str) -> JudgedPart:
    while True:
        try:
            return future.result(timeout=LOOK_SECONDS)
        except TimeoutError:
            if not client.scheduler_info()["workers"]:
                raise WorkerLost(f"the scheduler at {address} has no worker left") from None
        except KilledWorker as lost:
            raise WorkerLost(
                f"several workers were lost over the same part, the last of them {lost.last_worker.address}"
            ) from lost


def _client(address: str) -> Client:
    try:
        return Client(address)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:  # no answer, or no address
        raise WrongCall(f"no scheduler answers at {address}") from error
