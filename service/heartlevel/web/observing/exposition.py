"""The counters in the Prometheus text format: summed over workers, and those that are gone, whose files are not kept."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from flask import Response, current_app
from prometheus_client import CollectorRegistry, Metric, generate_latest, multiprocess, values
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.mmap_dict import MmapedDict

from heartlevel.web.observing.counters import EVERY

SHARED_IN = "PROMETHEUS_MULTIPROC_DIR"
ADDED_UP = ("counter", "histogram")
OF_THE_GONE = 0  # the number of no process


def metrics() -> Response:
    """Return the counters of all workers in the Prometheus text format."""
    current_app.extensions["heartlevel-rules-told"].tell(current_app.extensions["heartlevel"].current.ruleset)
    current_app.extensions["heartlevel-work-told"].tell()
    registry = CollectorRegistry()
    registry.register(_Collected())
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


class _Collected:
    def collect(self) -> Iterator[Metric]:
        for metric in _every_metric():
            if metric.name == "heartlevel_rules_info":  # of rules that were replaced a 0 is left
                metric.samples = [sample for sample in metric.samples if sample.value]
            yield metric


def _every_metric() -> Iterator[Metric]:
    if values.ValueClass.__name__ != "MmapedValue":
        for metric in EVERY:
            yield from metric.collect()
        return
    folder = Path(os.environ[SHARED_IN])
    with _held(folder, fcntl.LOCK_SH):
        yield from multiprocess.MultiProcessCollector(None, folder).collect()  # type: ignore[no-untyped-call]


def forget_worker(pid: int) -> None:
    """Add what a worker that is gone has counted to what others did that are gone, and remove its files."""
    folder = Path(os.environ[SHARED_IN])
    with _held(folder, fcntl.LOCK_EX):
        multiprocess.mark_process_dead(pid, folder)  # type: ignore[no-untyped-call]
        for kind in ADDED_UP:
            if (gone := folder / f"{kind}_{pid}.db").exists():
                _add(gone, folder / f"{kind}_{OF_THE_GONE}.db")
                gone.unlink()


def _add(counted: Path, total: Path) -> None:
    files: Any = MmapedDict  # has no types
    into = files(str(total))
    try:
        for key, value, *_ in files.read_all_values_from_file(str(counted)):
            into.write_value(key, into.read_value(key)[0] + value, 0.0)
    finally:
        into.close()


@contextmanager
def _held(folder: Path, how: int) -> Iterator[None]:
    """Hold the files of a folder: many may read them at once, one may remove some."""
    number = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(number, how)
        yield
    finally:
        os.close(number)
