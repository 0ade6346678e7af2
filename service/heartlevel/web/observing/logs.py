"""One format for all that is logged, by the service and by gunicorn: a line of JSON, with nothing that a request held."""

import logging
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from traceback import walk_stack
from typing import Any

import orjson
from flask import g, has_app_context
from gunicorn.glogging import Logger

# Who writes to gunicorn's log only of processes, sockets and signals. What others write may quote a request.
OF_PROCESSES = ("gunicorn.arbiter", "gunicorn.sock", "gunicorn.systemd", "heartlevel.")
# Whose words are written as they are: ours, and those of who sends spans, in which there is nothing of a request either.
QUOTED = ("heartlevel", "opentelemetry")
PASSED_THROUGH = ("logging", "warnings", "gunicorn.glogging", __name__)
# What workers say of themselves, word for word.
OF_WORKERS = ("Autorestarting worker after current request.", "Worker graceful timeout (pid:%s)")


def storable(value: str) -> str:
    """Return a text that JSON can hold: parts of file names that are no text are escaped."""
    return value.encode("utf-8", "backslashreplace").decode()


def raised_at(error: BaseException) -> str:
    """Return file and line where an exception was raised."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "unknown place"


class JsonLines(logging.Formatter):
    """A record as a line of JSON. `extra={"fields": {...}}` adds to it; of an exception it has kind and place alone."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        fields: Mapping[str, Any] = record.__dict__.get("fields", {})
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "process": record.process,
            "message": storable(record.getMessage()),
            **_ids_of_request(),
            **fields,
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["error"] = _kind_and_place(record.exc_info[1])
        return orjson.dumps(line).decode()


def _ids_of_request() -> dict[str, str]:
    """Return the ids of the request that is being answered where the line is logged, if any is."""
    ids: dict[str, str] = g.get("ids", {}) if has_app_context() else {}
    return ids


def _kind_and_place(error: BaseException) -> str:
    return f"{type(error).__name__} at {raised_at(error)}"


def write_logs() -> None:
    """Write the service's own log, at least a line a request, to standard error beside gunicorn's.

    What libraries warn of goes there too, without their words: they may quote what they were given.
    """
    logging.getLogger("heartlevel").setLevel(logging.INFO)
    logging.captureWarnings(True)
    root = logging.getLogger()
    if not any(isinstance(handler.formatter, JsonLines) for handler in root.handlers):
        handler = logging.StreamHandler(sys.stderr)
        handler.setFormatter(JsonLines())
        handler.addFilter(of_strangers_the_place_alone)
        root.addHandler(handler)


def of_strangers_the_place_alone(record: logging.LogRecord) -> bool:
    """Take the words out of a record that is of none of those that are quoted."""
    if record.name.partition(".")[0] not in QUOTED:
        module, line = _caller()
        record.msg, record.args = f"{record.name} has something to say at {module}:{line}", ()
    return True


class WithoutData(Logger):  # type: ignore[misc]
    """gunicorn's log as lines of JSON: what it says of processes, and of requests nothing but kind and place of a fault."""

    def setup(self, cfg: Any) -> None:
        """Set up as gunicorn does; its own format would quote what an exception says."""
        super().setup(cfg)
        self.error_log.addFilter(of_processes_alone)
        for handler in self.error_log.handlers:
            handler.setFormatter(JsonLines())

    def access(self, *_: Any) -> None:
        """Log nothing: the service logs each request itself, and gunicorn's line has paths, queries and headers."""


def of_processes_alone(record: logging.LogRecord) -> bool:
    """Take out of a record whatever a request may have held; a handler of any kind sees only what is left."""
    error = record.exc_info[1] if record.exc_info else None
    module, line = _caller()
    if not module.startswith(OF_PROCESSES) and record.msg not in OF_WORKERS:
        record.msg, record.args = f"gunicorn has something to say at {module}:{line}", ()
    else:
        # Anything after the first line is the text of an exception.
        record.msg, record.args = record.getMessage().partition("\n")[0], ()
    if error is not None:
        record.msg = f"{record.msg}: {_kind_and_place(error)}"
    record.exc_info = record.exc_text = None
    return True


def _caller() -> tuple[str, int]:
    """Return module and line that called gunicorn's log."""
    for frame, line in walk_stack(None):
        module = str(frame.f_globals.get("__name__", "?"))
        if module not in PASSED_THROUGH:
            return module, line
    return "?", 0
