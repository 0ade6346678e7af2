"""Words beside the rows of result tables, where a language was asked for."""

from typing import Any

from heartlevel.answer.conclusion import conclusion
from heartlevel.answer.findings import written_findings, written_notes
from heartlevel.answer.result_columns.coded import owners_in, text_column
from heartlevel.answer.result_tables import COLUMNS_OF
from heartlevel.conclusions.conclude import Conclusions

OF_FINDINGS = ("title", "explanation", "advice")
READERS = {"conclusion": "clinician", "for_patient": "patient"}


def worded_columns(conclusions: Conclusions) -> dict[str, dict[str, Any]]:
    """Return, by table, columns of words for its rows: of each rule that fired, and of each subject."""
    subjects = range(len(conclusions.assessment.batch.requests))
    sentences = [conclusion(conclusions, subject) for subject in subjects]
    told = [_by_rule(conclusions, subject) for subject in subjects]
    fired = COLUMNS_OF["findings"](conclusions)
    owners, rules = owners_in(fired).tolist(), fired["rule"].written().tolist()
    rows = [told[owner].get(rule, {}) for owner, rule in zip(owners, rules, strict=True)]
    return {
        "findings": {name: text_column(row.get(name) for row in rows) for name in OF_FINDINGS},
        "subjects": {
            name: text_column(" ".join(sentence[reader]) for sentence in sentences) for name, reader in READERS.items()
        },
    }


def _by_rule(conclusions: Conclusions, subject: int) -> dict[str, dict[str, Any]]:
    """Return what an answer tells of each rule; the first finding of one that has several."""
    told: dict[str, dict[str, Any]] = {}
    for entry in [*written_findings(conclusions, subject), *written_notes(conclusions, subject)]:
        told.setdefault(entry["rule"], entry)
    return told
