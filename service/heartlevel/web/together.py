"""Requests that reach a worker at the same time are assessed together: four cost little more than one.

No request waits for others. While one thread assesses, others queue; the next thread then assesses all that are queued.
An answer does not depend on what was assessed with it; a request that fails costs no other its answer.
"""

import logging
from collections import deque
from dataclasses import dataclass
from threading import Lock
from typing import Any

from heartlevel.assessment import Rules
from heartlevel.intake.request import Request
from heartlevel.one_call import answer_requests
from heartlevel.web.connections.turns import give_way
from heartlevel.web.observing.logs import raised_at
from heartlevel.web.observing.spans import part_of_trace

LOG = logging.getLogger("heartlevel")
# Readings of all requests that are assessed together; a large one is assessed alone, so that no small one waits for it.
MOST_READINGS_TOGETHER = 400


@dataclass(slots=True, eq=False)
class _Waiting:
    request: Request
    rules: Rules
    answer: dict[str, Any] | None = None


class Together:
    """The one place of a process where requests are assessed, whatever thread they come from."""

    def __init__(self) -> None:
        """Begin with an empty queue."""
        self._waiting: deque[_Waiting] = deque()
        self._assessing = Lock()

    def answer(self, request: Request, rules: Rules) -> dict[str, Any]:
        """Return the answer to a request; other threads' requests may be answered on the way."""
        mine = _Waiting(request, rules)
        self._waiting.append(mine)
        with part_of_trace("assess"):
            give_way()  # what has come to other connections by now is assessed with it
            with self._assessing:
                if mine.answer is None:
                    self._assess(mine, self._companions(mine))
        assert mine.answer is not None
        return mine.answer

    def _companions(self, mine: _Waiting) -> list[_Waiting]:
        """Take from the queue what waits for the same rules, as far as there is room."""
        room, companions = MOST_READINGS_TOGETHER - len(mine.request.readings), []
        for waiting in [self._waiting.popleft() for _ in range(len(self._waiting))]:
            size = len(waiting.request.readings) * (1 + len(waiting.request.also_under))
            if waiting is mine:
                continue
            if waiting.rules is mine.rules and size <= room:
                companions.append(waiting)
                room -= size
            else:
                self._waiting.append(waiting)
        return companions

    def _assess(self, mine: _Waiting, others: list[_Waiting]) -> None:
        batch = [mine, *others]
        try:
            answers = list(answer_requests([waiting.request for waiting in batch], mine.rules))
        except Exception as error:
            if not others:
                raise
            # The request at fault fails again alone, in its own thread; if none does, this line is all there is to see.
            LOG.error("%d requests together: %s at %s; each is assessed alone", len(batch), type(error).__name__,
                      raised_at(error))  # fmt: skip
            answers = list(answer_requests([mine.request], mine.rules))
        for waiting, answer in zip(batch, answers, strict=False):
            waiting.answer = answer
