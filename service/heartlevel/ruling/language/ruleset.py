"""A loaded rule set: rules in the order they can be decided, guidelines, protocols, wording, the layers laid over them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain
from operator import itemgetter
from typing import Any, TypeAlias

from heartlevel.facts.catalogue import Fact, catalogue_of
from heartlevel.intake.envelope import PREGNANCY_BY
from heartlevel.intake.own.facts import OwnFact
from heartlevel.intake.own.form import form_of
from heartlevel.intake.request import Choices, Request
from heartlevel.profiles import (
    FollowUp,
    Guideline,
    Ladder,
    Protocol,
    SizeOfFaults,
    SurenessLimits,
    UsualAmbulatory,
    UsualAtHome,
    UsualInOffice,
)
from heartlevel.ruling.language.faults import Entry
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.statements import ConclusionTexts
from heartlevel.ruling.language.template import Template

Profile: TypeAlias = tuple[str, str]  # a guideline and a protocol, whose limits hold together
SEVERE = itemgetter("severe.systolic", "severe.diastolic")
DEFAULT_LANGUAGE = "en"  # also what a request gets that asks for none


@dataclass(frozen=True, slots=True)
class Change:
    """One change a layer makes, why, where it is written, and what stood there before."""

    kind: str
    id: str
    off: bool
    reason: str
    layer: str  # its id
    file: str
    line: int
    replaced: Mapping[str, Any]  # by dotted field; of what is switched off all fields

    def as_dict(self) -> dict[str, Any]:
        """Return it as it stands in an answer on rules."""
        names = ("layer", "file", "line", "reason", "off", "replaced")
        return {name: getattr(self, name) for name in names}


@dataclass(frozen=True, slots=True)
class FilesRead:
    """What a directory's files hold, by name of the file and of each item, and words on files that were not taken."""

    holdings: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    passed_over: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer as it was applied. `fingerprint` is of its own content, comments and layout left out."""

    id: str
    name: str
    revision: str
    fingerprint: str
    changes: tuple[Change, ...]
    entry: Entry  # its own file
    added: frozenset[tuple[str, str]]  # kind and id of what it adds whole
    files: FilesRead = FilesRead()
    patients: tuple[Entry, ...] = ()  # tests of its own: no part of its fingerprint, since they decide nothing

    def as_dict(self) -> dict[str, str]:
        """Return what names it in an answer."""
        return {name: getattr(self, name) for name in ("id", "name", "revision", "fingerprint")}


@dataclass(frozen=True, slots=True)
class RuleTexts:
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
    """The texts of one language; `written` is all of its file, to be compared whole."""

    next_steps: Mapping[str, str]
    next_steps_for_patient: Mapping[str, str]  # the same, to the person; of those that say something to them
    cautions: Sequence[str]
    rules: Mapping[str, RuleTexts]  # by id, of every rule
    categories: Mapping[str, str]  # by the title in the guideline; one not there is called what the guideline calls it
    urgency: Mapping[str, str]  # what to do by level, and the parts of the sentence before it
    names: Mapping[str, str]  # words for values
    sureness: Mapping[str, str]  # how sure the answer is: sentences and the parts they are made of
    summary: Mapping[str, str]  # words of the summary of an answer
    follow_up: Mapping[str, str]  # changes, targets and what is to be said with them, by key
    pages: Mapping[str, str]  # words of what is handed to the person measured, by key
    conclusion: ConclusionTexts
    wants_reading: bool  # by a clinician who speaks the language
    written: Mapping[str, Any]


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
    size_of_faults: SizeOfFaults
    ladder: Ladder
    at_home: UsualAtHome | None = None  # what is usual there; None where the rule set does not say
    in_office: UsualInOffice | None = None
    ambulatory: UsualAmbulatory | None = None
    sureness: SurenessLimits = SurenessLimits()
    follow_up: FollowUp | None = None  # None where the rule set does not say when readings are judged apart
    own_facts: tuple[OwnFact, ...] = ()  # recorded beside the shipped ones, in order of their names
    layers: tuple[Layer, ...] = ()  # lowest first
    base_fingerprint: str = ""  # of the content without layers
    base_files: FilesRead = FilesRead()  # of the rules below layers
    entries: Mapping[tuple[str, str], Entry] = field(
        default_factory=dict
    )  # by kind and id, of all but rules: where it is written

    @cached_property
    def choices(self) -> Choices:
        """What a request may choose from."""
        names = (tuple(self.guidelines), tuple(self.protocols), tuple(self.wording))
        return Choices(*names, self.default_guideline, form_of(self.own_facts))

    @cached_property
    def facts(self) -> Mapping[str, Fact]:
        """All facts that rules may compare, by name: the shipped ones, and those of one's own."""
        return catalogue_of(self.own_facts)

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
        if not request.unclear & set(PREGNANCY_BY):
            return asked
        return min(asked, of_pregnancy, key=lambda guideline: SEVERE(guideline.limits))

    def protocol_for(self, request: Request) -> Protocol:
        """Return the protocol a request's readings are averaged by: the one asked for, else that of `guideline_for`."""
        return self.protocols[request.protocol or self.guideline_for(request).protocol]

    def limits(self, guideline: str, protocol: str) -> Mapping[str, float]:
        """Return all named limits of a guideline and a protocol together."""
        return {**self.guidelines[guideline].limits, **self.protocols[protocol].limits}

    def provenance(self, kind: str, name: str, entry: Entry) -> dict[str, Any]:
        """Return where an item is written and by which layer, what layers changed of it, why, and what stood there.

        `layer` is null for what the rules below all layers bring.
        """
        changes = [change.as_dict() for change in self.changes_of(kind, name)]
        adding = next((layer.id for layer in self.layers if (kind, name) in layer.added), None)
        where = entry.origin.position(entry.path)
        return {"layer": adding, "file": where.file, "line": where.line, "changes": changes}

    def passed_over(self) -> Iterator[str]:
        """Yield words on files that were not taken, of the rules and of the layers."""
        yield from chain(self.base_files.passed_over, *(layer.files.passed_over for layer in self.layers))

    def parameter_origins(self, rule: Rule) -> list[dict[str, Any]]:
        """Return a rule's parameters: value, unit, place; of one that a layer set, which layer, why, and what it was."""
        return [self._parameter_origin(rule, name, value) for name, value in rule.parameters.items()]

    def _parameter_origin(self, rule: Rule, name: str, value: float) -> dict[str, Any]:
        path = f"parameters.{name}"
        changes = [change for change in self.changes_of("rule", rule.id) if path in change.replaced]
        last = changes[-1] if changes else None
        where = rule.entry.origin.position((*rule.entry.path, "parameters", name))
        set_by = {"layer": last and last.layer, "was": last and last.replaced[path], "reason": last and last.reason}
        return {
            "name": name, "value": value, "unit": rule.unit_of(name), "file": where.file, "line": where.line, **set_by
        }  # fmt: skip

    def changes_of(self, kind: str, name: str) -> Iterator[Change]:
        """Yield what layers change of an item, in their order."""
        for layer in self.layers:
            yield from (change for change in layer.changes if (change.kind, change.id) == (kind, name))

    def silenced(self) -> dict[str, Change]:
        """Return the rules that layers switched off, by id."""
        switched = (change for layer in self.layers for change in layer.changes if change.off)
        off = {change.id: change for change in switched if change.kind == "rule"}
        return {name: change for name, change in off.items() if name not in {rule.id for rule in self.every_rule()}}

    def with_rules(self, scope: str, rules: Sequence[Rule]) -> "RuleSet":
        """Return a copy that has only these rules, of one scope."""
        return replace(self, rules={scope: tuple(rules)})

    def every_rule(self) -> Sequence[Rule]:
        """Return all rules, scope by scope."""
        return [rule for rules in self.rules.values() for rule in rules]
