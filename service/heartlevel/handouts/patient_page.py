"""The sheet for the person measured as a page to print."""

from heartlevel.handouts.patient_sheet import PatientSheet
from heartlevel.handouts.rendering import rendered


def patient_page(sheet: PatientSheet) -> bytes:
    """Return the page, in HTML."""
    return rendered("patient.html.j2", sheet.language, sheet=sheet, words=sheet.words)
