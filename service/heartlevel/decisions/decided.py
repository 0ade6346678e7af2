"""What is kept of a decision: rules, category, urgency and numbers of readings; nothing that was measured, and of nobody.

An answer and the conclusions that it is written from lead to the same.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any, TypeAlias

from heartlevel.answer.readings import counts
from heartlevel.conclusions.category import NO_SETTING, levels_of
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.vocabulary import URGENCY_LEVELS

Decision: TypeAlias = Mapping[str, Any]
NUMBERS = ("received", "assessed", "lost")  # of readings


def decided_in(answer: Mapping[str, Any]) -> Decision:
    """Return what is kept of an answer."""
    made_with = answer["made_with"]
    return {
        "fingerprint": made_with["rules"]["fingerprint"],
        **{name: made_with[name] for name in ("guideline", "limits_from", "protocol")},
        "rules": _counted([
            *((finding["rule"], finding["count"]) for finding in answer["findings"]),
            *((note["rule"], 1) for note in answer["notes"]),
        ]),
        "category": answer["classification"]["category"],
        "urgency": answer["urgency"]["level"],
        **{name: answer["counts"][name] for name in NUMBERS},
    }  # fmt: skip


def decided_on(conclusions: Conclusions, subject: int) -> Decision:
    """Return what is kept of what is concluded on a subject."""
    assessment = conclusions.assessment
    received = counts(conclusions, subject)
    return {
        "fingerprint": assessment.rules.fingerprint,
        "guideline": assessment.batch.requests[subject].guideline,
        "limits_from": assessment.guidelines[subject].id,
        "protocol": assessment.protocols[subject].id,
        "rules": _counted([
            *((finding.rule.id, finding.count) for finding in conclusions.findings[subject]),
            *((note.rule.id, 1) for note in conclusions.notes[subject]),
        ]),
        "category": _category(conclusions, subject),
        "urgency": URGENCY_LEVELS[conclusions.urgency.levels[subject]],
        **{name: received[name] for name in NUMBERS},
    }  # fmt: skip


def _category(conclusions: Conclusions, subject: int) -> str | None:
    categories = conclusions.category
    number = int(categories.category[subject])
    if categories.setting[subject] == NO_SETTING or number == NO_CATEGORY:
        return None
    return levels_of(conclusions.assessment, subject, int(categories.side[subject]))[number].id


def _counted(fired: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Return how many readings each rule names; of a series, a device or a note, how many such."""
    together: Counter[str] = Counter()
    for rule, count in fired:
        together[rule] += count
    return dict(sorted(together.items()))
