"""What is written of the subjects of a batch: their answers, or their findings alone."""

from collections.abc import Iterator, Sequence

from heartlevel.answer.findings import entry_problems, findings_of, written_out
from heartlevel.answer.whole import answers
from heartlevel.assessment import Assessment, assess_batch
from heartlevel.bulk.judging import Plan, Said
from heartlevel.bulk.kinds import finding_rows
from heartlevel.bulk.places import Place, in_rows
from heartlevel.intake.faults import Problem, sorted_problems
from heartlevel.tables.batches import CleanBatch
from heartlevel.tables.examined import Examined
from heartlevel.tables.rows import DecodedRows


def said_of(plan: Plan, examined: Examined, clean: CleanBatch) -> Iterator[Said]:
    """Yield what is written of each subject of a batch."""
    assessment = assess_batch(clean.batch, plan.rules)
    said = _findings if plan.kind.of_findings else _answers
    for place, (output, urgent, problems) in zip(clean.subjects.tolist(), said(plan, assessment), strict=True):
        readings = int(examined.starts[place + 1] - examined.starts[place])
        yield Said(output, readings, urgent, places_of(plan, examined, place, problems))


def places_of(plan: Plan, examined: Examined, subject: int, problems: Sequence[Problem]) -> list[Place]:
    """Find where what was doubtful as entered stands."""
    return in_rows(plan.names, DecodedRows({}, examined.origins_of(subject)), problems) if problems else []


def _answers(plan: Plan, of: Assessment) -> Iterator[tuple[bytes, bool, list[Problem]]]:
    for answer in answers(of):
        whole = {**answer, "other_guidelines": []}
        yield plan.kind.written(whole), answer["urgent"], [Problem(**one) for one in answer["problems"]]


def _findings(plan: Plan, of: Assessment) -> Iterator[tuple[bytes, bool, list[Problem]]]:
    assert plan.kind.of_findings is not None
    for subject, findings in enumerate(findings_of(of)):
        texts = [written_out(one, of, subject) for one in findings]
        rows = finding_rows(of.batch.requests[subject].subject["id"], texts, of.rules.fingerprint)
        urgent = any(one.rule.urgent for one in findings)
        yield plan.kind.of_findings(rows), urgent, sorted_problems(entry_problems(findings, texts, of.batch.indices))
