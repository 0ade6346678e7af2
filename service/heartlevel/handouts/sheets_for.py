"""Pages for all subjects of an assessment."""

from collections.abc import Iterator

from heartlevel.assessment import Rules
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.handouts.patient_page import patient_page
from heartlevel.handouts.patient_sheet import patient_sheet
from heartlevel.one_call import answers_with_others


def patient_pages(conclusions: Conclusions, rules: Rules) -> Iterator[bytes]:
    """Yield the sheet of each subject as a page."""
    requests = conclusions.assessment.batch.requests
    for request, answer in zip(requests, answers_with_others(conclusions, rules), strict=True):
        yield patient_page(patient_sheet(request, answer, rules))
