"""gunicorn with the application: rules compiled once and shared by the forked workers."""

import gc
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from os import environ, getpid
from resource import RLIM_INFINITY, RLIMIT_CORE, getrlimit, setrlimit
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

from flask import Flask
from gevent import monkey
from gunicorn.app.base import BaseApplication

from heartlevel.assessment import Rules
from heartlevel.bundles.bundling import laid_out
from heartlevel.compiling.apart import have_one_wait
from heartlevel.ruling.files.loading import load
from heartlevel.web.access.reach import hosts_of, refuse_strangers
from heartlevel.web.connections.probes import answer_probes, listener
from heartlevel.web.observing.failures import tell_failures
from heartlevel.web.observing.logs import WithoutData, write_logs
from heartlevel.web.settings import WrongSettings, directories_in, settings_in


def settings() -> dict[str, Any]:
    """Return gunicorn's settings, for `heartlevel serve` and for a gunicorn configuration file alike."""
    return {
        "preload_app": True,
        "worker_class": "heartlevel.web.connections.worker.ManyConnections",
        "worker_connections": 2_000,
        "keepalive": 65,  # that connections are kept at all; how long is said in `connections.pace`
        "max_requests": 50_000,
        "max_requests_jitter": 5_000,
        "forwarder_headers": "",  # nobody before it says under what path it is called
        "control_socket_disable": True,  # nobody steers it from outside; it would write into the home directory
        "on_starting": _before_forking,
        "post_worker_init": _begin_work,
        "worker_exit": _end_work,
        "child_exit": _forget,
        "when_ready": _say_ready,
        "logger_class": WithoutData,
    }


COUNTERS = "PROMETHEUS_MULTIPROC_DIR"


@contextmanager
def shared_counters() -> Iterator[None]:
    """Have the workers' counters added up; enter before the application is imported."""
    if COUNTERS in environ:
        yield
        return
    environ[COUNTERS] = folder = mkdtemp(prefix="heartlevel-metrics-")
    owner = getpid()
    try:
        yield
    finally:
        # A worker that ends leaves through here too; only its parent may clear up.
        if getpid() == owner:
            rmtree(folder, ignore_errors=True)


def prepare_process() -> None:
    """Have a process wait for rules to compile, and from now on what waits here give way to others.

    Call it before the application is imported, which makes locks and threads.
    """
    have_one_wait(_prepare_compiling)
    monkey.patch_all()


def run(bind: str, workers: int, probes: tuple[str, int] | None = None, config: Mapping[str, Any] | None = None) -> None:
    """Serve until stopped, probes on an address of their own if one is given.

    Raises RuleFaults, and WrongSettings where probes cannot be answered: a service does not start without either.
    """
    prepare_process()
    with shared_counters():
        # Imported here: the metrics module decides at import whether counters are shared.
        from heartlevel.web.application import create_app

        application = create_app(config)
        try:
            application.extensions["heartlevel-probes"] = listener(*probes) if probes else None
        except OSError as error:
            raise WrongSettings(f"probes cannot be answered there: {error.strerror}") from None
        _Server(application, {**settings(), "bind": bind, "workers": workers}).run()


def _prepare_compiling() -> None:
    """Read the files of the rules in force, and compile those that layers lie over: what most of any change is."""
    with laid_out(*directories_in(settings_in(environ))) as (folder, layers):
        Rules.load(folder)
        load(folder, layers)


def leave_no_memory() -> None:
    """Have this process and its workers leave no file of their memory where they crash: it holds readings.

    With a limit of 1 Linux also hands none to a program; with 0 it would (core(5), fs/coredump.c).
    """
    _, most = getrlimit(RLIMIT_CORE)
    limit = 1 if most == RLIM_INFINITY else min(1, most)
    setrlimit(RLIMIT_CORE, (limit, limit))


def _before_forking(server: Any) -> None:
    try:
        refuse_strangers(hosts_of(server.cfg.address), server.app.wsgi().config)
    except WrongSettings as refusal:
        server.log.error("%s", refusal)
        sys.exit(1)
    write_logs()
    tell_failures()
    leave_no_memory()
    # The compiled rules are never garbage: out of the collector's way they cost no time, and stay shared.
    gc.collect()
    gc.freeze()


def _begin_work(worker: Any) -> None:
    application = worker.app.callable
    application.extensions["heartlevel-stopping"] = lambda: not worker.alive
    application.extensions["heartlevel-rules-told"].tell(application.extensions["heartlevel"].current.ruleset)
    application.extensions["heartlevel-work-told"].tell()
    if tracing := application.extensions["heartlevel-tracing"]:
        tracing.send()
    if listening := application.extensions.get("heartlevel-probes"):
        answer_probes(listening, application)
    seconds = float(application.config["RELOAD_SECONDS"])
    if seconds > 0:
        application.extensions["heartlevel"].watch(seconds)


def _end_work(_: Any, worker: Any) -> None:
    # A worker that could not load the application has none.
    if (application := worker.app.callable) and (tracing := application.extensions["heartlevel-tracing"]):
        tracing.end()


def _forget(_: Any, worker: Any) -> None:
    from heartlevel.web.observing.exposition import forget_worker

    forget_worker(worker.pid)


def _say_ready(server: Any) -> None:
    server.log.info("heartlevel answers; GET /ready names the rules in force")


class _Server(BaseApplication):  # type: ignore[misc]
    def __init__(self, application: Flask, options: dict[str, Any]) -> None:
        self._application, self._options = application, options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self._options.items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        return self._application
