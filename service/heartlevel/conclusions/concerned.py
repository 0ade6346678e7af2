"""How a finding says how much it concerns: readings and days, and that what it names is the worst of them."""

from collections.abc import Iterator

from heartlevel.assessment import Assessment
from heartlevel.conclusions.findings import Finding


def concerned(assessment: Assessment, finding: Finding, subject: int) -> Iterator[str]:
    """Yield the sentence that a finding of several rows ends with; none for a single one."""
    if len(finding.rows) > 1 and finding.readings:
        texts = assessment.rules.wording[assessment.batch.requests[subject].language].urgency
        key = "worst-of" if finding.ranges else "alike-in"
        yield texts[key].format(count=finding.count, days=finding.days)
