"""A real cluster on this machine: the same bytes as without, though a worker is killed on the way."""

import os
import signal
from concurrent.futures import ThreadPoolExecutor
from time import monotonic, sleep

import dask
import pytest
from distributed import Client, LocalCluster

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
    assert there == here and len(here) == 4


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
