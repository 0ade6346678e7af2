"""Bundles in a file, one a text, as the decoded requests of a file are."""

from collections.abc import Iterable, Iterator
from typing import Any

from heartlevel.fhir.codes import codes_in_force
from heartlevel.fhir.issues import OF_NOBODY, STRUCTURE, WARNING, Issue
from heartlevel.fhir.reading.sent import is_fhir
from heartlevel.fhir.reading.subjects import decoded_subjects
from heartlevel.intake.decoding import Decoded, Remark, Undecodable
from heartlevel.intake.ndjson import DecodedLine, RequestText, decode_json
from heartlevel.intake.own.form import Form
from heartlevel.intake.texts.json_text import Repeated

NO_BUNDLE = "neither a Bundle nor Parameters"
LONGEST_PLACE = 200  # characters


def decode_bundles(texts: Iterable[tuple[int, RequestText]], form: Form) -> Iterator[DecodedLine]:
    """Decode each text: a request of a form for each person in it, and with the first what is to be said of the rest.

    Everything of a Bundle stands on the line on which it begins.
    """
    for decoded in decode_json(texts):
        if isinstance(decoded, Undecodable):
            yield decoded
        elif not is_fhir(decoded.request):
            yield Undecodable(decoded.origins[""], "not-fhir", NO_BUNDLE, decoded.request)
        else:
            yield from _decoded(decoded, form)


def _decoded(bundle: Decoded[int], form: Form) -> Iterator[DecodedLine]:
    content = decoded_subjects(bundle.request, codes_in_force(), form)
    told = {path for subject in content.subjects for path in _told_where_repeated(subject)}
    remarks = [
        _remark(issue)
        for issue in content.issues
        if issue.severity == WARNING and not (issue.type == STRUCTURE and issue.expression in told)
    ]
    if not content.subjects:
        yield Undecodable(bundle.origins[""], "nobody", OF_NOBODY.text, bundle.request, remarks=remarks)
    for subject in content.subjects:
        yield Decoded(subject.request, dict(bundle.origins), remarks=remarks)
        remarks = []


def _told_where_repeated(subject: Decoded[str]) -> Iterator[str]:
    """Yield the places of values that a repeated name costs: its request names them as faults."""
    for pointer, path in subject.origins.items():
        part: Any = subject.request
        for name in pointer.split("/")[1:]:
            part = part[int(name)] if isinstance(part, list) else part[name]
        if isinstance(part, Repeated):
            yield path


def _remark(issue: Issue) -> Remark:
    return Remark(f"fhir-{issue.type}", issue.expression and issue.expression[:LONGEST_PLACE], issue.text)
