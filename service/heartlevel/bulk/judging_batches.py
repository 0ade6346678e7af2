"""What is written of the subjects of a batch: their answers, or their findings alone."""

from collections.abc import Iterator, Sequence

from heartlevel.answer.findings import entry_problems, findings_of, written_out
from heartlevel.answer.whole import answers
from heartlevel.assessment import Assessment, assess_batch
from heartlevel.bulk.by_columns import Clean, Looked
from heartlevel.bulk.judging import Plan, Said
from heartlevel.bulk.kinds import finding_rows
from heartlevel.bulk.places import Place, in_rows
from heartlevel.bulk.rows import Made
from heartlevel.intake.faults import Problem, sorted_problems


def said_of(plan: Plan, looked: Looked, clean: Clean) -> Iterator[Said]:
    """Yield what is written of each subject of a batch."""
    assessment = assess_batch(clean.batch, plan.rules)
    said = _findings if plan.kind.of_findings else _answers
    for place, (output, urgent, problems) in zip(clean.subjects.tolist(), said(plan, assessment), strict=True):
        readings = int(looked.starts[place + 1] - looked.starts[place])
        yield Said(output, readings, urgent, places_of(plan, looked, place, problems))


def places_of(plan: Plan, looked: Looked, subject: int, problems: Sequence[Problem]) -> list[Place]:
    """Find where what was doubtful as entered stands."""
    return in_rows(plan, Made({}, looked.rows_of(subject)), problems) if problems else []


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
