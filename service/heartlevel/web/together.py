"""Requests that reach a worker at the same time are assessed together: four cost little more than one.

Nobody waits for company. While one thread assesses, others queue; the next of them takes along whoever is there.
What comes of a request does not depend on its company; a request that cannot be answered spoils only its own answer.
"""

import logging
from collections import deque
from dataclasses import dataclass
from threading import Lock
from typing import Any

from heartlevel.assessment import Rules
from heartlevel.intake.request import Request
from heartlevel.one_call import answered
from heartlevel.web.problems import raised_at

LOG = logging.getLogger("heartlevel")
# Readings of all that are assessed together; a large request goes alone, so that small ones need not wait for it.
MOST_READINGS_TOGETHER = 400


@dataclass(slots=True, eq=False)
class _Waiting:
    request: Request
    rules: Rules
    answer: dict[str, Any] | None = None


class Together:
    """The one place of a process where requests are assessed, whatever thread they come from."""

    def __init__(self) -> None:
        """Begin with nobody waiting."""
        self._waiting: deque[_Waiting] = deque()
        self._assessing = Lock()

    def answer(self, request: Request, rules: Rules) -> dict[str, Any]:
        """Return the answer to a request; other threads' requests may be answered on the way."""
        mine = _Waiting(request, rules)
        self._waiting.append(mine)
        with self._assessing:
            if mine.answer is None:
                self._assess(mine, self._companions(mine))
        assert mine.answer is not None
        return mine.answer

    def _companions(self, mine: _Waiting) -> list[_Waiting]:
        """Take along who waits for the same rules, as far as there is room; the others stay in the queue."""
        room, found = MOST_READINGS_TOGETHER - len(mine.request.readings), []
        for one in [self._waiting.popleft() for _ in range(len(self._waiting))]:
            size = len(one.request.readings) * (1 + len(one.request.also_under))
            if one is mine:
                continue
            if one.rules is mine.rules and size <= room:
                found.append(one)
                room -= size
            else:
                self._waiting.append(one)
        return found

    def _assess(self, mine: _Waiting, others: list[_Waiting]) -> None:
        several = [mine, *others]
        try:
            answers = list(answered([one.request for one in several], mine.rules))
        except Exception as error:
            if not others:
                raise
            # Whoever is at fault fails again alone, in its own thread; if nobody does, this line is all there is of it.
            LOG.error("%d requests together: %s at %s; each is assessed alone", len(several), type(error).__name__,
                      raised_at(error))  # fmt: skip
            answers = list(answered([mine.request], mine.rules))
        for one, answer in zip(several, answers, strict=False):
            one.answer = answer
