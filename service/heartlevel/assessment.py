"""The pipeline: requests in, all that is concluded about their readings out. No Flask, no clock, no files."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from heartlevel.collector import collector_off
from heartlevel.columns import Columns, Ints
from heartlevel.facts.device import Checks, columns_of_devices
from heartlevel.facts.reading import columns_of_readings
from heartlevel.facts.series import Series, columns_of_series
from heartlevel.facts.sides import Compared, columns_of_comparison, limits_of_sides, measured_sides
from heartlevel.facts.sitting import columns_of_sittings
from heartlevel.intake.batch import Batch, batch_of
from heartlevel.intake.request import Request
from heartlevel.profiles import Guideline, Protocol
from heartlevel.ruling.effects.doubt import doubt_of
from heartlevel.ruling.effects.fitness import Fitness, fitness_of
from heartlevel.ruling.effects.habits import StandIn, stand_in_of
from heartlevel.ruling.effects.known_errors import known_errors
from heartlevel.ruling.effects.reliability import reliability_of
from heartlevel.ruling.effects.shared_errors import shared_errors
from heartlevel.ruling.effects.sureness import ClassifiedAverages, Sureness, sureness_of_averages, usual_errors
from heartlevel.ruling.files.directories.keeping import kept_or_made
from heartlevel.ruling.files.directories.stamps import Stamp, stamp_of
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.faults import RuleFault, RuleFaults
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.running.contradictions import contradicting_facts
from heartlevel.ruling.running.examples import wrong_examples
from heartlevel.ruling.running.verdicts import Program, Verdicts, programs_of
from heartlevel.statistics.alternatives import Alternatives, alternatives, offsets_of
from heartlevel.statistics.averages import Averages, average
from heartlevel.statistics.classification import Classified, classify
from heartlevel.statistics.followup.periods import Periods, periods_of
from heartlevel.statistics.own_day import by_own_days
from heartlevel.statistics.selection import Selection, select

Facts: TypeAlias = dict[str, Columns[Any]]  # by scope; each scope has a source of its own


# What layers are held against beside what their files say: the rules below them and under them to faults. Those that
# need answers stand further to the right of the chain of imports (`safeguards`), and are added there.
SAFEGUARDS: "list[Callable[[Rules, Rules], Iterable[RuleFault]]]" = []


@dataclass(frozen=True)
class Rules:
    """A rule set, compiled and ready."""

    ruleset: RuleSet
    programs: dict[str, Program]

    @classmethod
    def load(cls, folder: Path | None = None, layers: Sequence[Path] = ()) -> "Rules":
        """Load and compile a directory of rule files, the shipped one by default, and the layers over it.

        Raises RuleFaults if anything in them is at fault, an example that comes out otherwise or a layer that is not
        safe included.
        """
        with collector_off():
            below = _without_layers(folder, stamp_of(folder, ()))
            if not layers:
                return below
            rules = cls.compiled(load(folder, layers))
            faults = [fault for safeguard in SAFEGUARDS for fault in safeguard(below, rules)]
        if faults:
            raise RuleFaults(faults)
        return rules

    @classmethod
    def compiled(cls, ruleset: RuleSet) -> "Rules":
        """Compile a loaded rule set. Raises RuleFaults for examples that come out otherwise or contradict themselves."""
        programs = programs_of(ruleset)
        wrong = [*wrong_examples(ruleset, programs), *contradicting_facts(ruleset)]
        if wrong:
            raise RuleFaults(wrong)
        return cls(ruleset, programs)

    def profiles(self, guidelines: Sequence[Guideline], protocols: Sequence[Protocol]) -> Ints:
        """Return the number of each subject's guideline and protocol among the pairs that rules are compiled for."""
        profiles, pairs = self.programs["reading"].profiles, zip(guidelines, protocols, strict=True)
        return np.array([profiles[guideline.id, protocol.id] for guideline, protocol in pairs], dtype=np.int64)

    def judge(self, scope: str, facts: Columns[Any], profile: Ints) -> Verdicts:
        """Judge the rows of a scope, each by the limits of its subject's guideline and protocol."""
        return self.programs[scope].judge(facts.__getitem__, profile[facts.subject_of])


@lru_cache(maxsize=2)
def _without_layers(folder: Path | None, stamp: Stamp) -> Rules:
    """Return a directory's rules; those of the same files, as `stamp` tells, are looked for once in a process.

    The shipped ones are kept for other processes: other directories may be copies that are gone in a moment.
    """
    if folder is None:
        return kept_or_made(None, (), stamp, lambda: Rules.compiled(load()))
    return Rules.compiled(load(folder))


@dataclass(frozen=True)
class Assessment:
    """Everything computed about a batch, as columns."""

    rules: RuleSet
    batch: Batch
    guidelines: Sequence[Guideline]  # whose limits hold, one a subject
    protocols: Sequence[Protocol]  # by which readings are averaged, one a subject
    reliability: Ints
    selection: Selection
    averages: Averages
    alternatives: Alternatives
    classified: Classified
    sureness: Sureness
    facts: Facts
    verdicts: dict[str, Verdicts]  # by scope
    fitness: Fitness  # of the sides
    stand_in: StandIn | None = None  # what was seen of technique; None where nobody was observed
    periods: Periods | None = None  # None where nobody's readings fall into several
    earlier: "Assessment | None" = None  # of the earlier periods, each a subject of its own

    @cached_property
    def sides(self) -> Compared:
        """The sides of each subject, and which of them may speak."""
        compared: Compared = self.facts["comparison"].source
        return compared

    @cached_property
    def checks(self) -> Checks:
        """The device checks of the batch."""
        checks: Checks = self.facts["device"].source
        return checks


def assess_requests(requests: Sequence[Request], rules: Rules) -> Assessment:
    """Assess the subjects of several requests together; each one's result is as if it had come alone."""
    return assess_batch(batch_of(requests, sitting_gaps(requests, rules), rules.ruleset.choices.form), rules)


def sitting_gaps(requests: Sequence[Request], rules: Rules) -> list[float]:
    """Return how many minutes apart each request's protocol puts its sittings."""
    return [rules.ruleset.protocol_for(request).limits["protocol.sitting_gap_minutes"] for request in requests]


def assess_batch(batch: Batch, rules: Rules) -> Assessment:
    """Assess a batch, wherever its columns came from. Of its requests only subject, options and periods are looked at.

    Of each subject the latest period is concluded on; earlier ones are assessed as if nothing else had been sent.
    """
    follow_up = rules.ruleset.follow_up
    periods = periods_of(batch, follow_up.pauses) if follow_up else None
    if periods is None:
        return _assess(batch, rules)
    whole = _assess(batch.concluding_on(periods.current), rules)
    return replace(whole, periods=periods, earlier=_assess(periods.excerpt(batch), rules))


def _assess(batch: Batch, rules: Rules) -> Assessment:
    ruleset = rules.ruleset
    guidelines = [ruleset.guideline_for(request) for request in batch.requests]
    protocols = [ruleset.protocol_for(request) for request in batch.requests]
    batch, profile = by_own_days(batch, protocols), rules.profiles(guidelines, protocols)
    readings, devices = columns_of_readings(batch), columns_of_devices(batch, protocols)
    facts: Facts = {"reading": readings, "sitting": columns_of_sittings(batch), "device": devices}
    verdicts = {scope: rules.judge(scope, columns, profile) for scope, columns in facts.items()}
    reliability = reliability_of(batch, verdicts["reading"], verdicts["sitting"], ruleset.choices.form.of_technique)

    selection = select(batch, reliability, readings["work_day"], protocols)
    averages = average(batch, {**selection.averages, **selection.alternatives})

    doubt = doubt_of(batch, verdicts, facts)
    series = Series(batch, readings, reliability, selection, averages, protocols, devices, doubt)
    facts["series"] = columns_of_series(series)
    verdicts["series"] = rules.judge("series", facts["series"], profile)
    sides = measured_sides(facts["series"], guidelines)
    fitness = fitness_of(batch, selection, verdicts, facts, sides, limits_of_sides(guidelines))
    facts["comparison"] = columns_of_comparison(Compared(sides, fitness.fit), batch.subjects)
    verdicts["comparison"] = rules.judge("comparison", facts["comparison"], profile)

    technique = known_errors(batch, verdicts, facts)
    height, agreement = readings["hydrostatic_offset_mmhg"], devices.source.agreement
    offsets = offsets_of(batch, height, technique, devices.subject_of, agreement)
    others = alternatives(batch, selection, averages, protocols, ruleset.protocols, offsets)
    classified = classify(averages, others, guidelines)
    stand_in = stand_in_of(batch, selection, verdicts["reading"], ruleset.follow_up)
    errors = shared_errors(batch, selection, verdicts, facts, offsets, usual_errors(ruleset), stand_in)
    compared: Compared = facts["comparison"].source
    material = ClassifiedAverages(batch, ruleset, selection, averages, classified, guidelines, compared)

    return Assessment(
        rules=ruleset, batch=batch, guidelines=guidelines, protocols=protocols, facts=facts, verdicts=verdicts,
        fitness=fitness, reliability=reliability, selection=selection, averages=averages, alternatives=others,
        classified=classified, stand_in=stand_in, sureness=sureness_of_averages(material, errors),
    )  # fmt: skip
