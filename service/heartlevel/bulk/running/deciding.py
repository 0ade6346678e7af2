"""Decisions of a whole run kept beside what it writes."""

from collections.abc import Iterator
from dataclasses import replace
from uuid import uuid4

from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.carrying_out import Judge, Judgements
from heartlevel.bulk.running.judging import Plan
from heartlevel.decisions.log import DecisionLog


def keeping_decisions(judge: Judge, log: DecisionLog) -> Judge:
    """Return who judges as `judge` does, and keeps what was decided, under a name of the run's own.

    A part is kept before it is written: a run that is resumed may keep one twice, and leaves none out.
    """
    run = uuid4().hex

    def judge_and_keep(plan: Plan, parts: Iterator[BulkPart]) -> Judgements:
        for part, judged in judge(replace(plan, decisions=True), parts):
            log.write(run, judged.decisions)
            yield part, judged

    return judge_and_keep
