"""A real cluster on this machine: the same bytes as without, though workers are killed, slow, or another program."""

import json
import os
import shutil
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from time import monotonic, sleep

import dask
import pytest
from distributed import Client, LocalCluster
from distributed.client import FutureCancelledError
from distributed.comm import CommClosedError

import heartlevel
from heartlevel import distributed as distributed_runs
from heartlevel.bulk.wrong_call import WrongCall
from heartlevel.distributed import assess_files
from support import as_csv, as_ndjson, as_rows, assess_in_process, requests, rules


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """Two workers, which keep their files, and the scheduler its own, in the tests' folder."""
    with (
        dask.config.set({"temporary-directory": str(tmp_path_factory.mktemp("cluster"))}),
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0") as started,
    ):
        yield started


@pytest.fixture
def inputs(tmp_path):
    (tmp_path / "lines.ndjson").write_bytes(as_ndjson(requests(1500, 2)) + b"{broken\n")
    (tmp_path / "rows.csv").write_text(as_csv(as_rows(requests(300, 2))))
    return [tmp_path / "lines.ndjson", tmp_path / "rows.csv"]


def kill_one(address: str, journal) -> int:
    """Kill the process of a worker once some of the answers are written; return its number."""
    end = monotonic() + 120
    while not journal.exists() or journal.read_bytes().count(b"\n") < 3:
        assert monotonic() < end
        sleep(0.01)
    with Client(address) as client:
        process = next(iter(client.run(os.getpid).values()))
    os.kill(process, signal.SIGKILL)
    assert journal.exists()  # the run was under way
    return process


def test_two_workers_one_of_them_killed_write_what_one_machine_writes(cluster, inputs, tmp_path):
    out = tmp_path / "out.ndjson"
    with ThreadPoolExecutor() as pool:
        killed = pool.submit(kill_one, cluster.scheduler_address, tmp_path / "out.ndjson.journal")
        counts = assess_files(inputs, out, rules(), cluster.scheduler_address, problems=tmp_path / "p")
        assert killed.result() > 0
    alone = assess_in_process(*inputs, "--output", tmp_path / "alone.ndjson", "--problems", tmp_path / "q")
    assert alone.exit_code == 30
    assert (counts.subjects, counts.readings, counts.refused) == (1800, 3600, 1)
    assert out.read_bytes() == (tmp_path / "alone.ndjson").read_bytes()
    assert (tmp_path / "p").read_bytes() == (tmp_path / "q").read_bytes()


def test_the_command_sends_parts_to_a_scheduler(cluster, inputs, tmp_path):
    for name, more in {"there": ["--scheduler", cluster.scheduler_address], "here": []}.items():
        result = assess_in_process(inputs[1], "--output", tmp_path / f"{name}.parquet", *more)
        assert result.exit_code == 10
    assert (tmp_path / "there.parquet").read_bytes() == (tmp_path / "here.parquet").read_bytes()


def test_tables_made_by_a_scheduler_are_those_made_here(cluster, inputs, tmp_path):
    for name, more in {"there": ["--scheduler", cluster.scheduler_address], "here": []}.items():
        assert assess_in_process(inputs[1], "--to", "tables", "--output", tmp_path / name, *more).exit_code == 10
    there, here = ({path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("there", "here"))
    assert there == here and len(here) == 5


def test_a_scheduler_that_does_not_answer_is_a_wrong_call(inputs, tmp_path):
    with dask.config.set({"distributed.comm.timeouts.connect": "1s"}):
        result = assess_in_process(inputs[1], "--output", tmp_path / "out.ndjson", "--scheduler", "tcp://127.0.0.1:1")
    assert (result.exit_code, result.stderr) == (2, "no scheduler answers at tcp://127.0.0.1:1\n")


def test_a_scheduler_that_has_no_address_is_a_wrong_call(inputs, tmp_path):
    result = assess_in_process(inputs[1], "--output", tmp_path / "out.ndjson", "--scheduler", "nonsense")
    assert (result.exit_code, result.stderr) == (2, "no scheduler answers at nonsense\n")


def test_what_cannot_be_read_is_said_before_a_cluster_is_asked(tmp_path):
    with pytest.raises(WrongCall, match="no such file"):
        assess_files([tmp_path / "none.csv"], tmp_path / "out.ndjson", rules(), "tcp://127.0.0.1:1")


@contextmanager
def running(program: str, *arguments: str, **environment: str):
    """A scheduler or a worker as a process of its own, given up at the end."""
    call = [sys.executable, "-m", f"distributed.cli.{program}", *arguments]
    process = subprocess.Popen(
        call, env={**os.environ, **environment}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextmanager
def scheduler_with_workers(folder, count: int = 1, **environment: str):
    """A scheduler on a port of its own, with workers of one thread; its process and its address."""
    told = folder / "scheduler.json"
    own = {"DASK_TEMPORARY_DIRECTORY": str(folder)}
    alone = {"DASK_DISTRIBUTED__WORKER__MEMORY__TERMINATE": "false", **own, **environment}
    with (
        running("dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(told), **own) as scheduler,
        ExitStack() as held,
    ):
        worker = [
            "--scheduler-file",
            str(told),
            "--no-nanny",
            "--nthreads",
            "1",
            "--no-dashboard",
            "--local-directory",
            str(folder),
        ]
        workers = [held.enter_context(running("dask_worker", *worker, **alone)) for _ in range(count)]
        until(told.exists)
        until(lambda: told.read_text().endswith("}"))
        yield scheduler, workers, json.loads(told.read_text())["address"]


def until(holds) -> None:
    end = monotonic() + 180
    while not holds():
        assert monotonic() < end
        sleep(0.02)


def killed_under_way(process, journal) -> int:
    until(lambda: journal.exists() and journal.read_bytes().count(b"\n") >= 3)
    process.kill()
    return process.wait()


def other_program(folder, altered: str, old: str, new: str):
    """A copy of the package in which a module says something else."""
    shutil.copytree(Path(heartlevel.__file__).parent, folder / "heartlevel")
    module = folder / "heartlevel" / altered
    assert old in module.read_text()
    module.write_text(module.read_text().replace(old, new))
    return str(folder)


@pytest.mark.parametrize(
    ("altered", "old", "new", "named"),
    [("version.py", '"0.1.0"', '"0.0.9"', "has heartlevel 0.0.9, this process 0.1.0"),
     ("statistics/agreement.py", "1.96", "1.9", "has source of heartlevel ")],
)  # fmt: skip
def test_a_worker_with_another_program_is_refused_by_name(inputs, tmp_path, altered, old, new, named):
    (tmp_path / "other").mkdir()
    path = other_program(tmp_path / "other", altered, old, new)
    with scheduler_with_workers(tmp_path, PYTHONPATH=path) as (_, _, address):
        result = assess_in_process(inputs[1], "--output", tmp_path / "out.ndjson", "--scheduler", address)
    assert result.exit_code == 2 and f" {named}" in result.stderr and result.stderr.startswith("worker tcp://")
    assert not (tmp_path / "out.ndjson").exists()


def test_a_worker_that_comes_late_is_held_to_the_same(cluster, inputs, tmp_path, monkeypatch):
    """Each part is, too: nobody looks at who joins while a run is under way."""
    with Client(cluster.scheduler_address) as client:
        late = client.submit(distributed_runs._judged_there, None, None, {"Python": "2.7.18"}, pure=False)
        with pytest.raises(WrongCall, match=r"worker tcp://.* has Python 3\.1\d\.\d+, this process 2\.7\.18"):
            late.result()


def test_workers_with_rules_of_their_own_or_slow_ones_answer_by_those_that_are_sent(inputs, tmp_path):
    """The one worker has no rules at all where it looks for its own, and little of a processor."""
    with scheduler_with_workers(tmp_path, HEARTLEVEL_RULES=str(tmp_path / "none")) as (_, (worker,), address):
        os.setpriority(os.PRIO_PROCESS, worker.pid, 19)
        assert (
            assess_in_process(inputs[1], "--output", tmp_path / "there", "--to", "ndjson", "--scheduler", address).exit_code
            == 10
        )
    assert assess_in_process(inputs[1], "--output", tmp_path / "here", "--to", "ndjson").exit_code == 10
    assert (tmp_path / "there").read_bytes() == (tmp_path / "here").read_bytes()


@pytest.mark.parametrize(
    "error", [ConnectionResetError(104, "reset"), CommClosedError("closed"), FutureCancelledError("key", "lost")]
)
def test_a_scheduler_is_lost_however_that_is_noticed(cluster, inputs, tmp_path, monkeypatch, error):
    def broken(*_):
        raise error

    monkeypatch.setattr(distributed_runs, "_result", broken)
    result = assess_in_process(*inputs, "--output", tmp_path / "out.ndjson", "--scheduler", cluster.scheduler_address)
    assert (result.exit_code, "was lost; --resume goes on" in result.stderr) == (1, True)


@pytest.mark.parametrize("lost", ["scheduler", "worker"])
def test_a_lost_scheduler_or_the_last_worker_ends_the_run_which_can_be_resumed(inputs, tmp_path, monkeypatch, lost):
    monkeypatch.setattr(distributed_runs, "LOOK_SECONDS", 0.5)
    out = tmp_path / "out.ndjson"
    brief = {"distributed.comm.timeouts.connect": "1s", "distributed.comm.retry.count": 0}
    with (
        dask.config.set(brief),
        scheduler_with_workers(tmp_path) as (scheduler, (worker,), address),
        ThreadPoolExecutor() as pool,
    ):
        process = scheduler if lost == "scheduler" else worker
        killed = pool.submit(killed_under_way, process, Path(f"{out}.journal"))
        result = assess_in_process(*inputs, "--output", out, "--scheduler", address)
        assert killed.result() == -signal.SIGKILL
    said = {"scheduler": "was lost", "worker": "has no worker left"}[lost]
    assert (result.exit_code, result.stderr) == (
        1, f"the scheduler at {address} {said}; --resume goes on with what was written\n"
    )  # fmt: skip
    assert assess_in_process(*inputs, "--output", out, "--resume").exit_code == 30
    assert assess_in_process(*inputs, "--output", tmp_path / "alone.ndjson").exit_code == 30
    assert out.read_bytes() == (tmp_path / "alone.ndjson").read_bytes()
