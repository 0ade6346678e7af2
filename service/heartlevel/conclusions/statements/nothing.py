"""The statement of why nothing is concluded: nothing was sent, nothing could be used, too little, or no limits there."""

from collections.abc import Sequence

from heartlevel.columns import among
from heartlevel.conclusions.findings import Finding
from heartlevel.conclusions.statements.statement import Material, Statement
from heartlevel.facts.sides import HOME, OFFICE_SIDES, WHOLE_DAY
from heartlevel.statistics.selection import UNUSABLE
from heartlevel.vocabulary import SETTINGS

WITHOUT_LIMITS = tuple(SETTINGS.index(name) for name in ("work", "pharmacy"))


def nothing_concluded(material: Material, subject: int) -> Statement:
    """Return why there is no category though nothing of the person and nothing said of a side forbids one."""
    measured = material.assessment.sides.measured
    counted = measured.readings[:, subject]
    if not counted.any():
        return _no_side(material, subject)
    values = {
        "home_readings": int(counted[HOME]),
        "home_days": int(measured.days[HOME, subject]),
        "office_readings": int(counted[list(OFFICE_SIDES)].sum()),
    }
    if counted[WHOLE_DAY]:
        return Statement("too-few-ambulatory", values | {"ambulatory_readings": int(counted[WHOLE_DAY])})
    return Statement("too-few", values)


def _no_side(material: Material, subject: int) -> Statement:
    """Return why there is no usable reading of any side."""
    batch = material.assessment.batch
    rows = batch.rows_of(subject)
    received = rows.stop - rows.start + len(batch.requests[subject].lost)
    if not received:
        return Statement("nothing-sent", {})
    elsewhere = among(batch.setting[rows], WITHOUT_LIMITS) & (material.assessment.reliability[rows] != UNUSABLE)
    if elsewhere.any():
        return Statement("no-limits-there", {"readings": int(elsewhere.sum())})
    reason = _why_unusable(material.findings[subject])
    if reason is None:
        return Statement("nothing-usable", {"readings": received})
    return Statement("nothing-usable-because", {"readings": received, "reason": reason})


def _why_unusable(findings: Sequence[Finding]) -> str | None:
    """Return the rule that makes most readings unusable; None where none does."""
    readings = {finding.rule.id: len(finding.readings) for finding in findings if finding.rule.effect_name == "unusable"}
    return max(readings, key=lambda rule: readings[rule], default=None)
