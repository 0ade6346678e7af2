"""What to do and what to measure next, as it stands in the answer."""

from typing import Any

import numpy as np

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.next_steps import NO_DAYS
from heartlevel.conclusions.numbers import all_rounded
from heartlevel.statistics.sureness.more_days import AHEAD, SURE

CHANCE_DECIMALS = 3


def next_steps(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return the next steps that a subject's findings ask for."""
    assessment = conclusions.assessment
    wording = assessment.rules.wording[assessment.batch.requests[subject].language]
    return [
        {"code": step.code, "text": wording.next_steps[step.code], "patient": wording.next_steps_for_patient.get(step.code),
         "first": step.first, "because": step.because, "rules": step.rules}
        for step in conclusions.next_steps[subject]
    ]  # fmt: skip


class DaysToCome:
    """What each subject is to measure next, to be surer of the category at home; numbers are rounded for all at once."""

    def __init__(self, conclusions: Conclusions) -> None:
        """Round what several subjects' answers are read from."""
        self.conclusions, ahead = conclusions, conclusions.more_days.ahead
        self.days = all_rounded(ahead.days, 0)
        self.chances = all_rounded(np.array([ahead.chance, *ahead.chances]).T, CHANCE_DECIMALS)

    def what_next(self, subject: int) -> dict[str, Any]:
        """Return what is to be measured next, and the chance of being sure then."""
        assessment, more = self.conclusions.assessment, self.conclusions.more_days
        texts = assessment.rules.wording[assessment.batch.requests[subject].language].sureness
        days, (chance, *chances) = self.days[subject], self.chances[subject]
        return {
            "sure_at": SURE,
            "more_days": None if days is None else int(days),
            **({"no_more_days": NO_DAYS[more.unknown[subject]]} if days is None else {}),
            "chance": chance,
            "chance_after": dict(zip(map(str, AHEAD), chances, strict=True)),
            "days_looked_ahead": int(more.looked_ahead[subject]),
            "gaps": [
                {"code": gap.code, "next_step": gap.step, "text": None if gap.step else texts.get(f"gap-{gap.code}")}
                for gap in self.conclusions.gaps[subject]
            ],
        }
