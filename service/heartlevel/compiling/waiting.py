"""A process that waits with all loaded that compiling needs, and forks itself for each rule set: most time is in loading.

It is forked from the server's first process before there are threads, greenlets or connections, and ends with the last
process that could ask it. Workers ask over one socket, each time with a connection for question and answer.
"""

import gc
import os
import signal
import socket
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from select import select
from typing import Never

from heartlevel.compiling.program import answer
from heartlevel.ruling.language.faults import RuleFaults

NAME = "compiling-rules"  # of the process, as `ps -o comm` shows it
LONGEST_SECONDS = 120
IDLE_SECONDS = 5  # after the start: until then a server has better to do
PIECE = 1 << 16


class Gone(Exception):
    """The process that waits is no more, or cannot be asked."""


class Waiting:
    """The process, from the side of those who ask."""

    def __init__(self, prepare: Callable[[], object]) -> None:
        """Fork it; there must be no threads yet.

        It prepares once, when it has nothing to do or before the first question; that may raise RuleFaults.
        """
        self._asking, asked = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._asking.setblocking(False)
        self.pid = os.fork()
        if not self.pid:
            try:
                _wait(asked, prepare)
            finally:  # whatever fails here, what the server was about to do is not this process's to go on with
                os._exit(1)
        asked.close()

    def answer_to(self, question: bytes) -> bytes:
        """Return what `program.answer` writes; b"" or a part where its process ended before. Raises Gone."""
        ours, its = socket.socketpair()
        with ours, its:
            try:
                socket.send_fds(self._asking, [b"?"], [its.fileno()])
                its.close()
                ours.settimeout(LONGEST_SECONDS + 1)  # by then that process has ended
                ours.sendall(question)
            except OSError as error:
                raise Gone from error
            try:
                return b"".join(iter(lambda: ours.recv(PIECE), b""))
            except OSError:  # its process ended, or goes on for longer than it may
                return b""


def _wait(asked: socket.socket, prepare: Callable[[], object]) -> Never:
    _be_alone(asked)
    if not select([asked], [], [], IDLE_SECONDS)[0] or _is_asked(asked):
        with suppress(RuleFaults):  # those who load the rules tell of them
            prepare()
        gc.collect()
        gc.freeze()  # what is shared with the processes that are forked stays so
    while True:
        message, connections, _, _ = socket.recv_fds(asked, 1, 1)
        if not message:  # nobody is left to ask
            os._exit(0)
        _forked(connections[0])


def _is_asked(asked: socket.socket) -> bool:
    """Tell a question from the end of all that could ask."""
    return bool(asked.recv(1, socket.MSG_PEEK))


def _forked(connection: int) -> None:
    """Have a process answer a connection; where there can be no more processes, it ends without an answer."""
    with suppress(OSError):
        if not os.fork():
            _answer(connection)
    os.close(connection)


def _be_alone(asked: socket.socket) -> None:
    """Let go of everything that belongs to the server."""
    nothing = os.open(os.devnull, os.O_RDWR)
    for number in range(3):
        os.dup2(nothing, number)
    os.closerange(3, asked.fileno())
    os.closerange(asked.fileno() + 1, os.sysconf("SC_OPEN_MAX"))
    for number in (signal.SIGINT, signal.SIGHUP):  # from a terminal they reach this process too
        signal.signal(number, signal.SIG_IGN)
    signal.signal(signal.SIGCHLD, lambda *_: _forget_ended())
    with suppress(OSError):  # no such file but in Linux
        Path("/proc/self/comm").write_text(NAME)


def _forget_ended() -> None:
    with suppress(ChildProcessError):
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass


def _answer(connection: int) -> Never:
    try:
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        signal.alarm(LONGEST_SECONDS)
        os.set_blocking(connection, True)  # for greenlets it was made otherwise
        with open(connection, "rb", closefd=False) as asked, open(connection, "wb") as told:
            answer(asked, told)
    finally:
        os._exit(0)
