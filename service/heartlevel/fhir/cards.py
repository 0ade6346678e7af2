"""What is concluded, as a card of CDS Hooks 2.0 (HL7), for a clinician who opens a record."""

from collections.abc import Mapping, Sequence
from re import compile as pattern
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from heartlevel.answer.conclusion import without_first_step
from heartlevel.answer.whole import as_json
from heartlevel.fhir.names import RULES

LONGEST_SUMMARY = 139  # the specification: fewer than 140 characters
MOST_REASONS = 8
CRITICAL, WARNING, INFO = "critical", "warning", "info"
INDICATORS = {"now": CRITICAL, "same-day": CRITICAL, "cannot-be-told": WARNING, "within-days": WARNING}
MARKED = pattern(r"([\\`*_{}\[\]<>#|~])")  # what GitHub Flavored Markdown gives a meaning


def cards_of(answer: Mapping[str, Any], not_sent: Sequence[str] = ()) -> list[dict[str, Any]]:
    """Return the card of an answer; none where no reading was sent. `not_sent` are kinds of data that were not there."""
    if not answer["counts"]["received"]:
        return []
    sentences, made_with = answer["conclusion"]["clinician"], answer["made_with"]["rules"]
    card = {
        "uuid": str(uuid5(NAMESPACE_URL, as_json({"answer": answer, "not_sent": list(not_sent)}).decode())),
        "summary": shortened(sentences[0]),
        "detail": _detail(answer, not_sent),
        "indicator": INDICATORS.get(answer["urgency"]["level"], INFO),
        "source": {"label": f"{made_with['name']}, rules {made_with['revision']}"},
    }
    reasons = [
        {"system": RULES, "code": finding["rule"], "display": finding["title"]} for finding in answer["findings"]
    ][:MOST_REASONS]  # fmt: skip
    return [{**card, "overrideReasons": reasons} if reasons else card]


def refused_card(refused: Mapping[str, Any], source: str) -> list[dict[str, Any]]:
    """Return the card of what is urgent in readings of somebody who cannot be assessed; none where nothing is."""
    if not refused.get("urgent"):
        return []
    urgency = refused["urgency"]
    return [{
        "uuid": str(uuid5(NAMESPACE_URL, as_json(urgency).decode())),
        "summary": shortened(urgency["text"]),
        "detail": escaped_markdown(urgency["text"]),
        "indicator": INDICATORS[urgency["level"]],
        "source": {"label": source},
    }]  # fmt: skip


def shortened(text: str, longest: int = LONGEST_SUMMARY) -> str:
    """Return a text that fits, cut between words; one that is cut ends with an ellipsis."""
    if len(text) <= longest:
        return text
    kept = text[:longest].rpartition(" ")[0] or text[: longest - 1]
    return kept.rstrip(" ,;:(") + "…"


def escaped_markdown(text: str) -> str:
    """Return a text that Markdown shows as it is."""
    return MARKED.sub(r"\\\1", text)


def _detail(answer: Mapping[str, Any], not_sent: Sequence[str]) -> str:
    """Return the whole conclusion, the next steps and the cautions as Markdown, in the language of the answer."""
    counts = answer["counts"]
    parts = ["\n\n".join(map(escaped_markdown, without_first_step(answer)))]
    steps = [step["text"] for step in answer["next_steps"]]
    if steps:
        parts.append("\n".join(f"{number}. {escaped_markdown(text)}" for number, text in enumerate(steps, start=1)))
    told = [f"readings received: {counts['received']}, not usable: {counts['lost']}"] if counts["lost"] else []
    told += [f"not sent: {', '.join(not_sent)}"] if not_sent else []
    parts += [f"*{escaped_markdown('; '.join(told))}*"] if told else []
    parts.append("\n\n".join(f"> {escaped_markdown(caution)}" for caution in answer["cautions"]))
    return "\n\n".join(parts)
