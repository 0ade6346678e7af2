"""A statement, and what statements are chosen from."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from heartlevel.assessment import Assessment
from heartlevel.columns import Ints
from heartlevel.conclusions.category import SubjectCategories
from heartlevel.conclusions.findings import Finding
from heartlevel.conclusions.followup.change import SideChanged
from heartlevel.conclusions.followup.periods import PeriodSpan
from heartlevel.conclusions.followup.target import TargetConcluded
from heartlevel.conclusions.pattern import PatternsProbable
from heartlevel.conclusions.sides import Objection
from heartlevel.conclusions.steps import Step
from heartlevel.conclusions.urgency.episodes import Urgency
from heartlevel.statistics.classification import Probabilities


@dataclass(frozen=True, slots=True)
class Statement:
    """A sentence of a conclusion: its key in the wording files, and what it shows, numbers as they are shown."""

    code: str
    values: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Material:
    """What is known of the subjects of a batch, to choose statements from; one value or list a subject."""

    assessment: Assessment
    findings: Sequence[Sequence[Finding]]
    category: SubjectCategories
    pattern: Ints  # its number in LABELS
    pattern_settled: Ints  # likewise, undetermined where it is less than probable
    patterns_probable: PatternsProbable
    as_measured: Callable[[], Probabilities]  # with no error taken off; worked out where it is asked for
    objections: Sequence[Mapping[int, Sequence[Objection]]]  # by side
    unfit: Sequence[Sequence[tuple[str, Sequence[str]]]]  # sides that keep a pattern from being named, with codes
    steps: Sequence[Sequence[Step]]
    urgency: Urgency
    targets: Mapping[int, TargetConcluded]  # by subject, of whom there is one; so below
    periods: Mapping[int, Sequence[PeriodSpan]]
    changes: Mapping[int, Sequence[SideChanged]]
