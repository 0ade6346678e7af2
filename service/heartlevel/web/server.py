"""gunicorn with the application: rules compiled once and shared by the forked workers."""

from os import environ
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

from gunicorn.app.base import BaseApplication


def run(bind: str, workers: int) -> None:
    """Serve until stopped. Workers are processes of one thread each."""
    # Set before the first metric is made, so that the counters of all workers are added up.
    folder = environ.setdefault("PROMETHEUS_MULTIPROC_DIR", mkdtemp(prefix="heartlevel-metrics-"))
    options = {"bind": bind, "workers": workers, "preload_app": True, "max_requests": 50_000,
               "max_requests_jitter": 5_000, "child_exit": _forget, "when_ready": _say_ready}  # fmt: skip
    try:
        _Server(options).run()
    finally:
        rmtree(folder, ignore_errors=True)


def _forget(_: Any, worker: Any) -> None:
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]


def _say_ready(server: Any) -> None:
    server.log.info("heartlevel answers; GET /ready names the rules in force")


class _Server(BaseApplication):  # type: ignore[misc]
    def __init__(self, options: dict[str, Any]) -> None:
        self._options = options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self._options.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        # Imported here: the metrics module decides at import whether counters are shared.
        from heartlevel.web.application import create_app

        return create_app()
