"""A rule, checked and ready to be run."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from heartlevel.ruling.language.conditions import Condition, Leaf, Term, parameters_in
from heartlevel.ruling.language.faults import Entry
from heartlevel.ruling.language.template import Template
from heartlevel.vocabulary import EFFECTS


@dataclass(frozen=True, slots=True)
class Citation:
    """Where a statement comes from, and how sure that is."""

    cite: str
    standing: str  # one of STANDINGS


@dataclass(frozen=True, slots=True)
class Shift:
    """How far off a reading may be: within published bounds, or by the amount that a fact tells (mm[Hg])."""

    reads: str  # one of DIRECTIONS
    bounds: tuple[float, float] | None  # lowest and highest; None where `amount` is given
    amount: str | None  # name of the fact


@dataclass(frozen=True, slots=True)
class Consequence:
    """What a finding means for sides: whether they may speak, and which way they would mislead."""

    does: str  # one of CONSEQUENCES
    sides: tuple[str, ...]  # of MEASURED_SIDES
    reads: str  # one of DIRECTIONS, or the fact that tells it
    share: float  # of a side's averaged readings that must be concerned; 0 for a rule of the whole series


@dataclass(frozen=True, slots=True)
class Example:
    """Facts as they are written, by name, and what a rule must say of them."""

    given: Mapping[str, Any]  # what is absent is unknown
    expect: str  # fires, silent or unknown
    findings: tuple[str, ...] = ()  # other rules taken as firing
    guideline: str | None = None  # None: the default
    protocol: str | None = None  # None: the guideline's


@dataclass(frozen=True, slots=True)
class RuleUrgency:
    """What an urgent finding is an episode of, and how urgent where nothing more is known."""

    kind: str  # one of EPISODE_KINDS
    level: int  # place in URGENCY_LEVELS
    in_maternity: int


@dataclass(frozen=True, slots=True)
class Rule:
    """What a rule asks of a row of its scope, and what its finding says and does."""

    id: str
    scope: str
    title: str
    parameters: Mapping[str, float]  # thresholds by the name that the condition and the texts have for them
    condition: Condition
    leaves: tuple[Leaf, ...]
    effect: int  # place in EFFECTS
    severity: str  # one of SEVERITIES
    by_device: bool  # findings of different devices are told apart
    urgency: RuleUrgency | None  # None: not urgent
    explanation: Template
    advice: Template
    next_step: str | None  # key of the wording's next steps
    field: str | None  # of a reading, that a slip of entry is in
    pattern: str | None  # of home and office, that the finding means
    consequences: tuple[Consequence, ...]  # for the sides
    told_in: str | None  # one of TOLD_IN, where what fires is told in place of a finding
    expected_error: Mapping[str, Shift]  # by pressure
    usual_share: float  # how often the fault is there where nothing is recorded of it; 0 where that is not said
    sources: tuple[Citation, ...]
    examples: tuple[Example, ...]
    shown_facts: tuple[str, ...]  # facts a finding states: the condition's and the sentences'
    entry: Entry

    def is_changed(self, below: "Rule | None") -> bool:
        """Say whether it is written otherwise than below, or asks otherwise by the parameter of another rule."""
        return below is None or self.written != below.written or self.condition != below.condition

    @property
    def urgent(self) -> bool:
        """Whether it names values that may need help now."""
        return self.urgency is not None

    def unit_of(self, parameter: str) -> str | None:
        """Return the unit of a parameter, which is that of the facts it is compared with; None where they have none."""
        compared = (leaf for leaf in self.leaves if isinstance(leaf, Term))
        return next((term.fact.unit for term in compared if parameter in parameters_in(term)), None)

    @property
    def effect_name(self) -> str:
        """What a finding makes of the readings concerned: none, doubtful or unusable."""
        return EFFECTS[self.effect]

    @property
    def written(self) -> Mapping[str, Any]:
        """All of the rule as it stands in its file, to be shown or compared whole."""
        written: Mapping[str, Any] = self.entry.item
        return written
