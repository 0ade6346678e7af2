"""Answers as FHIR Bundles, one a line."""

from collections.abc import Iterator, Sequence

from heartlevel.answer.whole import as_json
from heartlevel.assessment import Rules
from heartlevel.fhir.codes import codes_in_force
from heartlevel.fhir.writing.bundle import bundle_of
from heartlevel.located import AssessedSubjects, in_order_of_subjects
from heartlevel.one_call import answers_with_others


def write_bundles(groups: Sequence[AssessedSubjects], rules: Rules, names: Sequence[str]) -> list[bytes]:
    """Write a Bundle a subject."""
    codes = codes_in_force()

    def lines(group: AssessedSubjects) -> Iterator[bytes]:
        for subject, answer in enumerate(answers_with_others(group.conclusions, rules)):
            yield as_json(bundle_of([(group.conclusions, subject, answer)], None, codes)) + b"\n"

    return [b"".join(in_order_of_subjects(groups, lines))]
