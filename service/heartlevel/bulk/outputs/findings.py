"""Findings, one row each, as CSV or as rows of a table."""

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Any

import orjson
import pyarrow

from heartlevel.answer.findings import written_findings
from heartlevel.assessment import Rules
from heartlevel.bulk.outputs.pieces import piece_of_rows
from heartlevel.located import AssessedSubjects, in_order_of_subjects

AS_THEY_ARE = ("rule", "scope", "severity", "urgent", "urgency", "effect", "title", "explanation", "advice", "readings")
FINDING_COLUMNS = ("subject", "finding", *AS_THEY_ARE, "facts", "rules_fingerprint")
TYPES = {"urgent": pyarrow.bool_(), "readings": pyarrow.list_(pyarrow.string())}
FINDING_ROW = pyarrow.schema([(name, TYPES.get(name, pyarrow.string())) for name in FINDING_COLUMNS])
CSV_HEADER = ",".join(FINDING_COLUMNS).encode() + b"\n"


def write_findings_csv(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Write a line a finding; lists and facts as JSON."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for rows in in_order_of_subjects(groups, _rows_of_subjects):
        writer.writerows([_csv_cell(cell) for cell in row] for row in rows)
    return [text.getvalue().encode()]


def write_finding_rows(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Write a row a finding; facts as JSON."""
    rows = [row for rows in in_order_of_subjects(groups, _rows_of_subjects) for row in rows]
    return [piece_of_rows([dict(zip(FINDING_COLUMNS, row, strict=True)) for row in rows], FINDING_ROW)]


def _rows_of_subjects(group: AssessedSubjects) -> Iterator[list[list[Any]]]:
    """Yield the rows of each subject's findings."""
    assessment = group.conclusions.assessment
    for subject, request in enumerate(assessment.batch.requests):
        findings = written_findings(group.conclusions, subject)
        yield [_row(request.subject["id"], finding, assessment.rules.fingerprint) for finding in findings]


def _row(subject: str, finding: dict[str, Any], fingerprint: str) -> list[Any]:
    facts = orjson.dumps(finding["facts"]).decode()
    return [subject, finding["id"], *(finding[name] for name in AS_THEY_ARE), facts, fingerprint]


def _csv_cell(cell: Any) -> Any:
    if isinstance(cell, bool):
        return str(cell).lower()
    return orjson.dumps(cell).decode() if isinstance(cell, list) else cell
