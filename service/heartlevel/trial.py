"""What other rules would change: the same requests answered under two rule sets, and the answers compared."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from heartlevel.assessment import Rules
from heartlevel.intake.decoding import Decoded
from heartlevel.intake.faults import Problem, problems_read
from heartlevel.intake.ndjson import DecodedLine
from heartlevel.one_call import Outcome, answer_read, in_batches, read_batch

# What is compared by itself, and the part of the answer that it stands in where that has another name.
PART_OF = {"reliabilities": "readings", "category": "classification"}


@dataclass(frozen=True, slots=True)
class Changed:
    """What differs between one request's two answers; `fields` is empty where nothing is decided otherwise.

    `other_parts` of the answer differ too, such as words, steps or probabilities.
    """

    line: int
    subject: str | None
    fields: Mapping[str, Any]
    other_parts: Sequence[str] = ()
    problems: tuple[Problem, ...] = ()  # what could not be read of it, by the rules in force

    def as_dict(self) -> dict[str, Any]:
        """Return it as it stands in an answer."""
        others = {"other_parts": list(self.other_parts)} if self.other_parts else {}
        return {"line": self.line, "subject": self.subject, **self.fields, **others}


@dataclass(slots=True)
class Totals:
    """How much would change over all requests."""

    subjects: int = 0
    changed: int = 0
    fields: Counter[str] = field(default_factory=Counter)  # subjects by what changes
    gained: Counter[str] = field(default_factory=Counter)  # findings by rule
    lost: Counter[str] = field(default_factory=Counter)
    in_other_parts_only: int = 0  # subjects of whom nothing is decided otherwise, and something is told otherwise
    other_parts: Counter[str] = field(default_factory=Counter)  # subjects by part of the answer

    def add(self, changed: Changed) -> None:
        """Count a request."""
        self.subjects += 1
        self.changed += bool(changed.fields)
        self.in_other_parts_only += bool(changed.other_parts) and not changed.fields
        self.fields.update(changed.fields.keys())
        self.other_parts.update(changed.other_parts)
        findings = changed.fields.get("findings", {})
        self.gained.update(findings.get("gained", ()))
        self.lost.update(findings.get("lost", ()))

    def as_dict(self) -> dict[str, Any]:
        """Return the counts, largest first."""
        parts = {"by_field": self.fields, "findings_gained": self.gained, "findings_lost": self.lost,
                 "other_parts": self.other_parts}  # fmt: skip
        ordered = {name: dict(sorted(part.items(), key=lambda item: (-item[1], item[0]))) for name, part in parts.items()}
        counts = {"changed": self.changed, "in_other_parts_only": self.in_other_parts_only}
        return {"subjects": self.subjects, **counts, **ordered}


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a trial: the candidate's fingerprint, counts, and the requests of which there is something to tell."""

    candidate: str
    totals: Totals
    told: list[Changed]


def tried(requests: Sequence[object], before: Rules, after: Rules) -> Tried:
    """Return what would change for request objects, which are numbered from 1."""
    totals, told = Totals(), []
    decoded = (Decoded(request, {"": number}) for number, request in enumerate(requests, start=1))
    for change in changes(decoded, before, after):
        totals.add(change)
        if change.fields or change.problems:
            told.append(change)
    return Tried(after.ruleset.fingerprint, totals, told)


def changes(decoded: Iterable[DecodedLine], before: Rules, after: Rules) -> Iterator[Changed]:
    """Yield what would change for each request, in order; no more than a few requests are held.

    Where both rule sets offer requests the same choices, a request is read once for both.
    """
    are_read_alike = before.ruleset.choices == after.ruleset.choices
    for batch in in_batches(decoded):
        first = read_batch(batch, before)
        second = first if are_read_alike else read_batch(batch, after)
        pairs = zip(answer_read(batch, first, before), answer_read(batch, second, after), strict=True)
        yield from (_compared(old, new) for old, new in pairs)


def _compared(old: Outcome, new: Outcome) -> Changed:
    if old.answer is None or new.answer is None:
        same = (old.answer is None) == (new.answer is None)
        fields = {} if same else {"assessed": {"before": old.answer is not None, "after": new.answer is not None}}
        answer = old.answer or new.answer
        return Changed(old.line, answer["subject"]["id"] if answer else old.subject, fields, (), _problems(old))
    sides = old.answer, new.answer
    compared = {
        "urgent": _pair(*(side["urgent"] for side in sides)),
        "findings": _findings(*sides),
        "reliabilities": _by_key(*map(_reliabilities, sides)),
        "averages": _by_key(*map(_means, sides)),
        "category": _pair(*(side["classification"]["category"] for side in sides)),
        "pattern": _pair(*(side["pattern"]["label"] for side in sides)),
    }
    told = {name: value for name, value in compared.items() if value}
    others = _other_parts(*sides, {PART_OF.get(name, name) for name in told})
    return Changed(old.line, old.answer["subject"]["id"], told, others, _problems(old))


def _other_parts(before: Mapping[str, Any], after: Mapping[str, Any], told: Collection[str]) -> list[str]:
    """Return the parts of the answer that differ beside those told; what it was made with is none of them."""
    names = dict.fromkeys([*before, *after])
    return [name for name in names if name not in (*told, "made_with") and before.get(name) != after.get(name)]


def _problems(outcome: Outcome) -> tuple[Problem, ...]:
    """Return what could not be read of a request; of one that is refused for more than that, that it is."""
    if outcome.answer is not None:
        return tuple(problems_read(outcome.answer["problems"]))
    return outcome.problems or (Problem("", outcome.code, outcome.detail),)


def _pair(before: Any, after: Any) -> dict[str, Any] | None:
    return None if before == after else {"before": before, "after": after}


def _by_key(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, Any]:
    names = dict.fromkeys([*before, *after])
    return {name: pair for name in names if (pair := _pair(before.get(name), after.get(name)))}


def _findings(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, list[str]] | None:
    old, new = (Counter(_finding_keys(side)) for side in (before, after))
    gained, lost = (sorted({rule for rule, *_ in more - less}) for more, less in ((new, old), (old, new)))
    return {"gained": gained, "lost": lost} if gained or lost else None


def _finding_keys(answer: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield each finding once for each reading it concerns: a rule that fires for other readings has changed too.

    Notes count as findings.
    """
    for finding in answer["findings"]:
        yield from ((finding["rule"], reading) for reading in finding["readings"] or [""])
    yield from ((note["rule"], "") for note in answer["notes"])


def _reliabilities(answer: Mapping[str, Any]) -> dict[str, Any]:
    return {reading["id"]: reading["reliability"] for reading in answer["readings"]}


def _means(answer: Mapping[str, Any]) -> dict[str, Any]:
    pressures = ("systolic", "diastolic")
    return {
        f"{average['setting']} {average['basis']}": {name: average[name]["mean"] for name in pressures}
        for average in answer["averages"]
    }
