"""What is to be said of what was sent, as an OperationOutcome."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from heartlevel.intake.faults import Problem, writable

STRUCTURE = "structure"
# FHIR's issue types (http://hl7.org/fhir/issue-type) for the codes of problems; any other fault is an `invalid` value.
TYPES = {
    "missing": "required", "null": "required", "no-offset": "required", "id-repeated": "duplicate",
    "exact-duplicate": "duplicate", "unknown-device": "not-found", "unknown-key": "not-supported",
    "not-an-object": STRUCTURE, "not-a-list": STRUCTURE, "key-repeated": STRUCTURE,
}  # fmt: skip
WARNING, INFORMATION, ERROR = "warning", "information", "error"


@dataclass(frozen=True, slots=True)
class Issue:
    """Something to say of what was sent; `expression` is a FHIRPath to it."""

    severity: str
    type: str
    text: str
    expression: str | None = None
    code: str | None = None  # of a problem

    def written(self) -> dict[str, Any]:
        """Return it as OperationOutcome.issue."""
        issue: dict[str, Any] = {"severity": self.severity, "code": self.type, "details": {"text": writable(self.text)}}
        if self.code:
            issue["diagnostics"] = self.code
        if self.expression:
            issue["expression"] = [writable(self.expression)]
        return issue


OF_NOBODY = Issue(ERROR, "required", "nothing in it says of whom it is: there is no Patient and no subject")


def issue_of(fault: Problem, expression: str | None, severity: str = WARNING) -> Issue:
    """Return what stands for a problem of a request."""
    name = ".".join(part for part in fault.pointer.split("/")[2:] if not part.isdigit())
    text = f"{name}: {fault.detail}" if name else fault.detail
    return Issue(severity, TYPES.get(fault.code, "invalid"), f"{text} ({fault.hint})" if fault.hint else text, expression,
                 fault.code)  # fmt: skip


def outcome_of(issues: Iterable[Issue]) -> dict[str, Any]:
    """Return an OperationOutcome; one without issues says that there is nothing to say."""
    written = [issue.written() for issue in dict.fromkeys(issues)]
    nothing = Issue(INFORMATION, "informational", "Everything that was sent was read.").written()
    return {"resourceType": "OperationOutcome", "issue": written or [nothing]}
