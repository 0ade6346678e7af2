"""Which findings are slips of entry, and at which field of the request each is one."""

from collections.abc import Iterable, Iterator, Sequence

from heartlevel.conclusions.firings import Firing
from heartlevel.intake.batch import Batch
from heartlevel.intake.faults import Problem
from heartlevel.ruling.language.rules import Rule


def slip_pointers(batch: Batch, rule: Rule, readings: Iterable[int]) -> Iterator[str]:
    """Yield, for the rows of readings a rule fires for, JSON Pointers to the field at fault; none for other rules."""
    field = rule.field
    if field:
        for row in readings:
            pointer, request = f"/readings/{batch.indices[row]}/{field}", batch.requests[int(batch.subject_of[row])]
            yield request.in_bytes.get(pointer, pointer)


def slips_of(batch: Batch, firings: Sequence[Firing]) -> dict[int, list[Problem]]:
    """Return the slips of entry as problems without words, by subject; only who has any is there."""
    slips: dict[int, list[Problem]] = {}
    for firing in firings:
        if firing.rule.field:
            rows = firing.reading_rows(batch)
            pointers = slip_pointers(batch, firing.rule, rows.tolist())
            for subject, pointer in zip(batch.subject_of[rows].tolist(), pointers, strict=True):
                slips.setdefault(subject, []).append(Problem(pointer, firing.rule.id, ""))
    return slips
