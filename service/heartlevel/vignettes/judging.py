"""All patients judged as one batch, and what is wrong with each as faults of the file it stands in."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from heartlevel.assessment import Rules
from heartlevel.intake.faults import near, problems_read
from heartlevel.intake.request import RefusedRequest, Request, TooManyReadings, read
from heartlevel.one_call import answer_requests
from heartlevel.resources import shipped
from heartlevel.ruling.files.patients.reading import patients_below
from heartlevel.ruling.language.faults import Entry, RuleFault, RuleFaults
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.vignettes.differing import Difference, differences_of
from heartlevel.vignettes.sending import NoSeries, Vignette, vignette_of
from heartlevel.vignettes.told import Answer


@dataclass(frozen=True, slots=True)
class JudgedVignette:
    """A patient, and what is wrong: with the request, or with what came of it."""

    vignette: Vignette
    differences: tuple[Difference, ...] = ()
    refused: tuple[RuleFault, ...] = ()

    def faults(self) -> Iterator[RuleFault]:
        """Yield the faults, each at its place."""
        yield from self.refused
        for difference in self.differences:
            detail = f"'{self.vignette.who}': {difference}"
            yield self.vignette.entry.fault(("expect", *difference.path), "wrong-patient", detail, difference.hint)


def shipped_patients(folder: Path | None = None) -> list[Entry]:
    """Return the patients of a directory of rules, the shipped one by default. Raises RuleFaults."""
    faults: list[RuleFault] = []
    entries = patients_below(folder or shipped("rules"), faults)
    if faults:
        raise RuleFaults(faults)
    return entries


def judged_patients(rules: Rules, entries: Sequence[Entry]) -> list[JudgedVignette]:
    """Judge patients as one batch, in their order. Raises RuleFaults for what is not written as a patient."""
    vignettes, requests = requests_of_patients(rules, entries)
    answers = answer_requests([request for request in requests if isinstance(request, Request)], rules)
    return [
        _judged(vignette, next(answers)) if isinstance(request, Request) else JudgedVignette(vignette, refused=request)
        for vignette, request in zip(vignettes, requests, strict=True)
    ]


def patients_in_force(ruleset: RuleSet, folder: Path | None = None) -> tuple[list[Entry], list[Entry]]:
    """Return the patients who must come out as written, and those written for fewer layers, who may come out otherwise.

    Without layers those of the rules' directory must; under layers, those of the layer on top. Raises RuleFaults.
    """
    stack = [shipped_patients(folder), *(list(layer.patients) for layer in ruleset.layers)]
    return stack[-1], [entry for entries in stack[:-1] for entry in entries]


def requests_of_patients(
    rules: Rules, entries: Sequence[Entry]
) -> tuple[list[Vignette], list[Request | tuple[RuleFault, ...]]]:
    """Return patients with their requests, or why one cannot be read. Raises RuleFaults for what is no patient."""
    vignettes = _vignettes(entries)
    return vignettes, [_read(vignette, rules) for vignette in vignettes]


def _vignettes(entries: Sequence[Entry]) -> list[Vignette]:
    vignettes, faults = list[Vignette](), list[RuleFault]()
    for entry in entries:
        try:
            vignettes.append(vignette_of(entry))
        except NoSeries as error:
            faults.append(entry.fault(error.path, "wrong-value", str(error)))
    if faults:
        raise RuleFaults(faults)
    return vignettes


def _read(vignette: Vignette, rules: Rules) -> Request | tuple[RuleFault, ...]:
    try:
        return read(vignette.request, rules.ruleset.choices)
    except RefusedRequest as error:
        return tuple(map(vignette.refused, error.problems))
    except TooManyReadings as error:
        return (vignette.entry.fault(("request",), "refused-request", str(error)),)


def _judged(vignette: Vignette, answer: Answer) -> JudgedVignette:
    refused = () if "problems" in vignette.expect else tuple(map(vignette.refused, problems_read(answer["problems"])))
    return JudgedVignette(vignette, tuple(differences_of(vignette.expect, answer)), refused)


def unknown_names(ruleset: RuleSet, entries: Sequence[Entry]) -> Iterator[RuleFault]:
    """Yield each rule and next step that a patient names and that does not exist; a rule switched off does."""
    rules = {rule.id for rule in ruleset.every_rule()} | ruleset.silenced().keys()
    steps = {step for wording in ruleset.wording.values() for step in wording.next_steps}
    known = {"findings": rules, "absent": rules, "next_steps": steps, "not_next_steps": steps}
    for entry in entries:
        for name, names in known.items():
            for index, wanted in enumerate(entry.item["expect"].get(name) or ()):
                if wanted not in names:
                    detail = f"'{wanted}' does not exist"
                    yield entry.fault(("expect", name, index), "unknown-name", detail, near(wanted, sorted(names)))
