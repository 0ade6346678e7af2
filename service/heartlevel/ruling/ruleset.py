"""A loaded rule set: rules in the order they can be decided, guidelines, protocols, wording."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from heartlevel.intake.envelope import PREGNANCY_BY
from heartlevel.intake.request import Choices, Request
from heartlevel.profiles import Guideline, Protocol, UsualAtHome, UsualInOffice
from heartlevel.ruling.language import Condition, Leaf
from heartlevel.ruling.layers import Layer
from heartlevel.ruling.source import Origin, Path_, RuleFault
from heartlevel.ruling.template import Template
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
class Example:
    """Facts as they are written, by name, and what a rule must say of them."""

    given: Mapping[str, Any]  # what is absent is unknown
    expect: str  # fires, silent or unknown
    findings: tuple[str, ...]  # other rules taken as firing
    guideline: str | None  # None: the default
    protocol: str | None  # None: the guideline's


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, checked. `written` is all of it as it stands in the file, to be shown and compared whole."""

    id: str
    scope: str
    title: str
    condition: Condition
    leaves: tuple[Leaf, ...]
    effect: int  # place in EFFECTS
    severity: str  # one of SEVERITIES
    urgent: bool
    explanation: Template
    advice: Template
    next_step: str | None  # key of the wording's next steps
    field: str | None  # of a reading, that a slip of entry is in
    pattern: str | None  # of home and office, that the finding means
    expected_error: Mapping[str, Shift]  # by pressure
    usual_share: float  # how often the fault is there where nothing is recorded of it; 0 where that is not said
    sources: tuple[Citation, ...]
    examples: tuple[Example, ...]
    shown_facts: tuple[str, ...]  # facts a finding states: the condition's and the sentences'
    origin: Origin
    path: Path_  # in its file
    written: Mapping[str, Any]

    @property
    def effect_name(self) -> str:
        """What a finding makes of the readings concerned: none, doubtful or unusable."""
        return EFFECTS[self.effect]

    def fault(self, at: Path_, code: str, detail: str, hint: str | None = None) -> RuleFault:
        """Make a fault at a place within the rule."""
        return self.origin.fault((*self.path, *at), code, detail, hint)


@dataclass(frozen=True, slots=True)
class Said:
    """What a rule says in one language: to a clinician, and to the person measured."""

    title: str
    explanation: Template
    advice: Template
    patient: Template

    def facts(self) -> Iterator[str]:
        """Yield the names of the facts the texts show."""
        return chain(self.explanation.facts(), self.advice.facts(), self.patient.facts())


@dataclass(frozen=True, slots=True)
class Wording:
    """The texts of one language. `said` has every rule, `written` is the file's content."""

    next_steps: Mapping[str, str]
    cautions: Sequence[str]
    said: Mapping[str, Said]
    categories: Mapping[str, str]  # by the title in the guideline; one not there is called what the guideline calls it
    sureness: Mapping[str, str]  # how sure the answer is: sentences and the parts they are made of
    written: Mapping[str, Any]


def _severe(guideline: Guideline) -> tuple[float, float]:
    return guideline.limits["severe.systolic"], guideline.limits["severe.diastolic"]


@dataclass(frozen=True)
class RuleSet:
    """Everything an assessment needs besides the readings. `fingerprint` is of the content, not of the files."""

    name: str
    revision: str
    fingerprint: str
    default_guideline: str
    rules: Mapping[str, tuple[Rule, ...]]  # by scope; a rule stands after those it mentions
    guidelines: Mapping[str, Guideline]
    protocols: Mapping[str, Protocol]
    wording: Mapping[str, Wording]
    at_home: UsualAtHome | None = None  # what is usual there; None where the rule set does not say
    in_office: UsualInOffice | None = None
    layers: tuple[Layer, ...] = ()  # lowest first
    choices: Choices = field(init=False)

    def __post_init__(self) -> None:
        """Derive what a request may choose from."""
        choices = Choices(tuple(self.guidelines), tuple(self.protocols), tuple(self.wording), self.default_guideline)
        object.__setattr__(self, "choices", choices)

    def guideline_for(self, request: Request) -> Guideline:
        """Return the guideline whose limits hold for a request's subject: in pregnancy and soon after birth, its own.

        Where it could not be read whether that is so, the one of the two with the lower severe limits is used.
        """
        asked = self.guidelines[request.guideline]
        of_pregnancy = self.guidelines[asked.in_pregnancy]
        since = request.subject.get("days_since_birth")
        after_birth = since is not None and since <= asked.after_birth_days
        if request.subject.get("pregnant") or after_birth:
            return of_pregnancy
        return min(asked, of_pregnancy, key=_severe) if request.unclear & set(PREGNANCY_BY) else asked

    def protocol_for(self, request: Request) -> Protocol:
        """Return the protocol a request's readings are averaged by: the one asked for, else that of `guideline_for`."""
        return self.protocols[request.protocol or self.guideline_for(request).protocol]

    def limits(self, guideline: str, protocol: str) -> Mapping[str, float]:
        """Return all named limits of a guideline and a protocol together."""
        return {**self.guidelines[guideline].limits, **self.protocols[protocol].limits}

    def every_rule(self) -> Sequence[Rule]:
        """Return all rules, scope by scope."""
        return [rule for rules in self.rules.values() for rule in rules]
