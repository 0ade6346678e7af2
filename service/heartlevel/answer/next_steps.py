"""What to do and what to measure next, as it stands in the answer."""

from typing import Any

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.next_steps import NO_DAYS
from heartlevel.conclusions.numbers import rounded
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


def what_next(conclusions: Conclusions, subject: int) -> dict[str, Any]:
    """Return what a subject is to measure next, to be surer of the category at home."""
    assessment, more = conclusions.assessment, conclusions.more_days
    texts = assessment.rules.wording[assessment.batch.requests[subject].language].sureness
    ahead = more.ahead
    days = rounded(ahead.days[subject], 0)
    return {
        "sure_at": SURE,
        "more_days": None if days is None else int(days),
        **({"no_more_days": NO_DAYS[more.unknown[subject]]} if days is None else {}),
        "chance": rounded(ahead.chance[subject], CHANCE_DECIMALS),
        "chance_after": {
            str(count): rounded(chance, CHANCE_DECIMALS)
            for count, chance in zip(AHEAD, ahead.chances[:, subject], strict=True)
        },
        "days_looked_ahead": int(more.looked_ahead[subject]),
        "gaps": [
            {"code": gap.code, "next_step": gap.step, "text": None if gap.step else texts.get(f"gap-{gap.code}")}
            for gap in conclusions.gaps[subject]
        ],
    }
