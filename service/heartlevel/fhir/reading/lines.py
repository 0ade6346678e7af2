"""Bundles in a file, one a text, as the decoded requests of a file are."""

from collections.abc import Iterable, Iterator

from heartlevel.fhir.codes import codes_in_force
from heartlevel.fhir.reading.sent import is_fhir
from heartlevel.fhir.reading.subjects import decoded_subjects
from heartlevel.intake.decoding import Decoded, Undecodable
from heartlevel.intake.ndjson import DecodedLine, RequestText, decode_json
from heartlevel.intake.own.form import Form

NO_BUNDLE = "neither a Bundle nor Parameters"


def decode_bundles(texts: Iterable[tuple[int, RequestText]], form: Form) -> Iterator[DecodedLine]:
    """Decode each text: a request of a form for each person in it.

    Everything of a Bundle stands on the line on which it begins.
    """
    for decoded in decode_json(texts):
        if isinstance(decoded, Undecodable):
            yield decoded
        elif not is_fhir(decoded.request):
            yield Undecodable(decoded.origins[""], "not-fhir", NO_BUNDLE)
        else:
            for subject in decoded_subjects(decoded.request, codes_in_force(), form).subjects:
                yield Decoded(subject.request, dict(decoded.origins))
