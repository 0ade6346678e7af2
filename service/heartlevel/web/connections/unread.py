"""Large answers wait in temporary files without a name until they are read, and only so many bytes of them."""

from collections.abc import Iterator
from contextlib import ExitStack
from tempfile import TemporaryFile
from typing import IO

from flask import Flask, Response, current_app, request

from heartlevel.web.connections.capacity import SMALL, Busy, Capacity
from heartlevel.web.connections.pace import PIECE
from heartlevel.web.connections.reserve import leave_room
from heartlevel.web.problems import busy


def keep_answers(app: Flask) -> None:
    """Have large answers of the application kept in files; call it before what changes answers, which then comes first."""
    app.after_request(_kept)


def _kept(response: Response) -> Response:
    over_a_socket = "gunicorn.socket" in request.environ and request.method != "HEAD"
    if response.is_streamed or not over_a_socket or (size := len(response.get_data())) <= SMALL:
        return response
    capacity: Capacity = current_app.extensions["heartlevel-capacity"]
    with ExitStack() as until_read:
        try:
            until_read.callback(capacity.take_answer(size))
            leave_room(size)
            file = until_read.enter_context(TemporaryFile())
            file.write(response.get_data())
            file.seek(0)
        except Busy as error:
            return busy(error)
        except OSError:  # the disk is full
            return busy(Busy("there is no room for a large answer"))
        response.headers["Content-Length"] = str(size)
        response.response = _pieces(file)
        response.call_on_close(until_read.pop_all().close)
    return response


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    while piece := file.read(PIECE):
        yield piece
