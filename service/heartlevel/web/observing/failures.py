"""What nobody handled, in threads, greenlets or while something is thrown away: told by kind and place, never by its text.

Python and gevent would write the text of the exception to standard error, and it may hold what was sent.
"""

import logging
import sys
import threading
from types import TracebackType
from typing import Any

from gevent.hub import Hub

from heartlevel.web.observing.logs import raised_at

LOG = logging.getLogger("heartlevel")


def tell_failures() -> None:
    """Have all that this process and those forked from it do not handle told in the log, from now on."""
    sys.excepthook = _of_process
    sys.unraisablehook = _of_nobody
    threading.excepthook = _of_thread
    Hub.print_exception = _of_greenlet


def tell(where: str, error: BaseException | None) -> None:
    """Log what failed where."""
    if error is not None and not isinstance(error, (SystemExit, KeyboardInterrupt)):
        LOG.error("%s failed: %s at %s", where, type(error).__name__, raised_at(error))


def _of_process(_: type[BaseException], error: BaseException, __: TracebackType | None) -> None:
    tell("a process", error)


def _of_nobody(failure: "sys.UnraisableHookArgs") -> None:
    tell("something nobody waits for", failure.exc_value)


def _of_thread(failure: threading.ExceptHookArgs) -> None:
    tell("a thread", failure.exc_value)


def _of_greenlet(_: Hub, __: Any, ___: Any, error: BaseException, ____: Any) -> None:
    tell("a greenlet", error)
