"""What every request costs for being known, admitted, logged, counted, audited and traced: an echo with and without it.

`python tests/bench/observed.py [ROUNDS]` prints a table. One process, asked as a server asks it, counters shared as between
workers, the log written to nowhere; each kind is asked in turn, so that what else the machine does meets all alike.
"""

import logging
import os
import sys
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time

from heartlevel.web.server import prepare_process

prepare_process()
FOLDER = TemporaryDirectory()
SCRATCH = Path(FOLDER.name)
os.environ["PROMETHEUS_MULTIPROC_DIR"] = FOLDER.name  # before counters are imported

from flask import Flask, Response, request  # noqa: E402
from opentelemetry.sdk.trace.export import BatchSpanProcessor, SpanExporter, SpanExportResult  # noqa: E402

from heartlevel import Rules  # noqa: E402
from heartlevel.web.access.keys import new_key, write_keys  # noqa: E402
from heartlevel.web.application import create_app  # noqa: E402
from heartlevel.web.observing.logs import JsonLines  # noqa: E402

PATH, BODY, REQUESTS = "/v1/echo", b'{"subject": {"id": "s-01"}}', 1_000


class Nowhere(SpanExporter):
    def export(self, spans):
        return SpanExportResult.SUCCESS


def with_echo(app: Flask) -> Flask:
    @app.post(PATH)
    def echo() -> Response:
        return Response(request.get_data(), content_type="application/json")

    return app


def environment(key: str) -> dict:
    return {
        "REQUEST_METHOD": "POST", "PATH_INFO": PATH, "SERVER_NAME": "x", "SERVER_PORT": "80", "SERVER_PROTOCOL": "HTTP/1.1",
        "wsgi.url_scheme": "http", "wsgi.version": (1, 0), "wsgi.errors": sys.stderr, "wsgi.multithread": True,
        "wsgi.multiprocess": True, "wsgi.run_once": False, "CONTENT_LENGTH": str(len(BODY)),
        "CONTENT_TYPE": "application/json", "HTTP_AUTHORIZATION": f"Bearer {key}",
    }  # fmt: skip


def microseconds(app: Flask, key: str) -> float:
    """Return the processor time of one request."""
    statuses, begin = set(), process_time()
    for _ in range(REQUESTS):
        answer = app({**environment(key), "wsgi.input": BytesIO(BODY)}, lambda status, _: statuses.add(status))
        b"".join(answer)
        answer.close()
    assert statuses == {"200 OK"}, statuses
    return (process_time() - begin) / REQUESTS * 1e6


def kinds() -> tuple[dict[str, Callable[[], Flask]], str]:
    rules, kept = Rules.load(), SCRATCH / "keys.json"
    key, text = new_key(["assess"], "2026-01-01")
    write_keys(kept, [key])
    audit = {"AUDIT": str(SCRATCH / "audit")}

    def traced() -> Flask:
        app = create_app({"SPANS": True}, rules)
        app.extensions["heartlevel-tracing"].pass_to(BatchSpanProcessor(Nowhere(), max_queue_size=100_000))
        return app

    return {
        "echo": lambda: Flask("echo", static_folder=None),
        "echo in the service": lambda: create_app({}, rules),
        "the same, keys": lambda: create_app({"KEYS": str(kept)}, rules),
        "the same, audit log": lambda: create_app(audit, rules),
        "the same, spans": traced,
    }, text


def main(rounds: int = 9) -> None:
    log = logging.getLogger("heartlevel")
    log.setLevel(logging.INFO)
    handler = logging.FileHandler(os.devnull)
    handler.setFormatter(JsonLines())
    log.addHandler(handler)
    makers, key = kinds()
    apps = {name: with_echo(make()) for name, make in makers.items()}
    for app in apps.values():
        microseconds(app, key)
    runs = [{name: microseconds(app, key) for name, app in apps.items()} for _ in range(rounds)]
    plain = median(run["echo"] for run in runs)
    for name in apps:
        times = [run[name] for run in runs]
        print(f"{name:<22}{median(times):>8.0f} µs{median(times) - plain:>+8.0f}   {min(times):.0f} to {max(times):.0f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
    FOLDER.cleanup()
