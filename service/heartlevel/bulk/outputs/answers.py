"""Answers, as lines or as rows of a table."""

from collections.abc import Iterator, Sequence
from typing import Any

import pyarrow

from heartlevel.answer.detail import in_detail
from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.bulk.outputs.pieces import piece_of_rows
from heartlevel.located import AssessedSubjects, in_order_of_subjects
from heartlevel.one_call import answers_with_others

TEXT, COUNTED = pyarrow.string(), ("readings", "findings", "problems")
ANSWER_ROW = pyarrow.schema(
    [("subject", TEXT), ("urgent", pyarrow.bool_()), ("urgency", TEXT), ("guideline", TEXT), ("category", TEXT),
     ("pattern", TEXT), *((name, pyarrow.int32()) for name in COUNTED), ("rules_fingerprint", TEXT), ("answer", TEXT)]
)  # fmt: skip


def write_answer_rows(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Write a row a subject; `answer` is the answer as JSON, in the detail that its request asks for."""
    rows = in_order_of_subjects(groups, lambda group: (_row_of_answer(*both) for both in _with_detail(group, rules)))
    return [piece_of_rows(list(rows), ANSWER_ROW)]


def write_answer_lines(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Write each answer, in the detail that its request asks for, as a line of JSON."""
    lines = in_order_of_subjects(
        groups, lambda group: (as_json(in_detail(*both)) + b"\n" for both in _with_detail(group, rules))
    )
    return [b"".join(lines)]


def _with_detail(group: AssessedSubjects, rules: Rules) -> Iterator[tuple[dict[str, Any], str]]:
    """Yield each answer with the detail that its request asks for."""
    details = (request.detail for request in group.conclusions.assessment.batch.requests)
    return zip(answers_with_others(group.conclusions, rules), details, strict=True)


def _row_of_answer(answer: dict[str, Any], detail: str) -> dict[str, Any]:
    return {
        "subject": answer["subject"]["id"],
        "urgent": answer["urgent"],
        "urgency": answer["urgency"]["level"],
        "guideline": answer["classification"]["guideline"],
        "category": answer["classification"]["category"],
        "pattern": answer["pattern"]["label"],
        **{name: len(answer[name]) for name in COUNTED},
        "rules_fingerprint": answer["made_with"]["rules"]["fingerprint"],
        "answer": as_json(in_detail(answer, detail)).decode(),
    }
