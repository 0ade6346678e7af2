"""Requests are taken on once their body has come, and no more of them than a worker can answer soon.

What a body takes is counted as it comes: however many clients send slowly, a worker holds no more than its limit.
"""

from contextlib import ExitStack

from flask import Flask, current_app, g, request

from heartlevel.web.bodies.sent import sent
from heartlevel.web.connections.capacity import Capacity, HeldBytes
from heartlevel.web.connections.streams import is_stream
from heartlevel.web.observing.spans import part_of_trace


def admit_requests(app: Flask) -> None:
    """Have every request of the application taken on before it is answered."""
    app.before_request(_take_on)
    app.teardown_request(_let_go)


def _take_on() -> None:
    """Read the body of a request that is answered as a whole. Raises Busy, or 413 for a body too large."""
    if request.url_rule is None or is_stream() or request.method in ("GET", "HEAD", "OPTIONS"):
        return
    capacity: Capacity = current_app.extensions["heartlevel-capacity"]
    held = HeldBytes(capacity)
    g.taken_on = ExitStack()
    g.taken_on.callback(held.release)
    sent(request).on_piece = held.grow
    with part_of_trace("receive the body"):
        request.get_data()
    g.taken_on.enter_context(capacity.of_request())
    g.taken_on.enter_context(capacity.turn_of(held.size))


def _let_go(_: BaseException | None) -> None:
    taken_on: ExitStack | None = g.pop("taken_on", None)
    if taken_on is not None:
        taken_on.close()
