"""How much of an answer is written: its conclusion alone, the assessment in brief, or all of it.

Every level has what is urgent, the problems, how sure the category is, and the cautions; none is worded or counted anew.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from heartlevel.vocabulary import CONCLUSION_ALONE, IN_BRIEF, IN_FULL, RELIABILITIES

# Parts with what is kept of them; of others all is.
OF_CONCLUSION = {
    "conclusion": ("clinician", "patient"),
    "urgency": ("level",),  # its words stand first in the conclusion
    "counts": ("received", "assessed", "lost"),
    "classification": ("guideline", "category", "reason", "title", "sureness", "certainty", "no_probability"),
    "pattern": ("label", "settled", "sureness"),
    "made_with": ("protocol", "as_of"),
}
OF_BRIEF = {
    "classification": (
        "guideline", "category", "reason", "side", "systolic", "diastolic", "title", "raised", "category_probability",
        "no_probability", "sureness", "certainty", "even_so", "holds", "would_change",
    ),
    "pattern": ("office", "home", "label", "settled", "because", "between", "unfit", "office_minus_home", "sureness",
                "no_chances"),
}  # fmt: skip
OF_FINDING = ("id", "rule", "scope", "severity", "urgent", "urgency", "effect", "title", "count", "days")
BRIEF_WHOLE = ("conclusion", "made_with", "urgent", "urgency", "counts")
BRIEF_AFTER = ("sides", "target", "change", "next_steps", "what_next", "other_guidelines", "problems", "cautions")
OF_RULES = ("revision", "fingerprint")


def in_detail(answer: dict[str, Any], detail: str) -> dict[str, Any]:
    """Return what is written of an answer at a level of detail; at `full` that is the answer itself."""
    if detail == IN_FULL:
        return answer
    return _brief(answer) if detail == IN_BRIEF else _conclusion(answer)


def _conclusion(answer: Mapping[str, Any]) -> dict[str, Any]:
    parts = {name: _picked(answer[name], kept) for name, kept in OF_CONCLUSION.items()}
    return {
        "detail": CONCLUSION_ALONE,
        "subject": answer["subject"],
        "urgent": answer["urgent"],
        **parts,
        "made_with": {"rules": _picked(answer["made_with"]["rules"], OF_RULES), **parts["made_with"]},
        "problems": answer["problems"],
        "cautions": answer["cautions"],
    }


def _brief(answer: Mapping[str, Any]) -> dict[str, Any]:
    words = Counter(reading["reliability"] for reading in answer["readings"])
    return {
        "detail": IN_BRIEF,
        "subject": answer["subject"],
        **_picked(answer, BRIEF_WHOLE),
        "reliability": {word: words[word] for word in RELIABILITIES if words[word]},
        "findings": [_picked(finding, OF_FINDING) for finding in answer["findings"]],
        "undocumented": _together(answer["undocumented"]),
        **{name: _picked(answer[name], kept) for name, kept in OF_BRIEF.items()},
        **_picked(answer, BRIEF_AFTER),
    }


def _together(undocumented: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the details not recorded, those of as many readings together."""
    items: dict[float, list[str]] = {}
    for entry in undocumented:
        items.setdefault(entry["share"], []).append(entry["item"])
    return [{"share": share, "items": names} for share, names in items.items()]


def _picked(whole: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    return {name: whole[name] for name in names if name in whole}
