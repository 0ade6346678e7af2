"""The pipeline: requests in, what is found and computed about them out. No Flask, no clock, no files."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from heartlevel.columns import Columns, Ints
from heartlevel.facts.device import Checks, columns_of_devices
from heartlevel.facts.reading import columns_of_readings
from heartlevel.facts.series import Series, columns_of_series
from heartlevel.facts.sitting import columns_of_sittings
from heartlevel.intake.batch import Batch, batch_of
from heartlevel.intake.request import Request
from heartlevel.profiles import Guideline, Protocol
from heartlevel.ruling.examples import wrong_examples
from heartlevel.ruling.known_errors import known_errors
from heartlevel.ruling.loading import load
from heartlevel.ruling.reliability import reliability_of
from heartlevel.ruling.ruleset import RuleSet
from heartlevel.ruling.source import RuleFaults
from heartlevel.ruling.usual_errors import Usual, usual_errors
from heartlevel.ruling.verdicts import Program, Verdicts, programs_of
from heartlevel.statistics.alternatives import Alternatives, alternatives, offsets_of
from heartlevel.statistics.averages import Averages, average
from heartlevel.statistics.classification import Classified, Probabilities, classify, probabilities
from heartlevel.statistics.long_run import LongRun, long_run, population_at_home
from heartlevel.statistics.selection import HOME, Selection, select
from heartlevel.statistics.technique import Excess
from heartlevel.vocabulary import SETTINGS


@dataclass(frozen=True)
class Rules:
    """A rule set, compiled and ready."""

    ruleset: RuleSet
    programs: dict[str, Program]

    @classmethod
    def load(cls, folder: Path | None = None, layers: Sequence[Path] = ()) -> "Rules":
        """Load and compile a directory of rule files, the shipped one by default, and the layers over it.

        Raises RuleFaults if anything in them is at fault, an example that comes out otherwise included.
        """
        return cls.compiled(load(folder, layers))

    @classmethod
    def compiled(cls, ruleset: RuleSet) -> "Rules":
        """Compile a loaded rule set. Raises RuleFaults for examples that come out otherwise."""
        programs = programs_of(ruleset)
        wrong = list(wrong_examples(ruleset, programs))
        if wrong:
            raise RuleFaults(wrong)
        return cls(ruleset, programs)


@dataclass(frozen=True, slots=True)
class Sureness:
    """How probable categories are; the last two, of home alone, are None where the rule set does not say what is usual."""

    long_run: LongRun  # what the averages by protocol say of it
    probabilities: Probabilities
    usual_excess: Excess | None = None  # by how much averages are too high if technique is as usual where not recorded
    with_usual_errors: Probabilities | None = None


@dataclass(frozen=True)
class Assessment:
    """Everything found and computed about a batch, as columns."""

    rules: RuleSet
    batch: Batch
    guidelines: Sequence[Guideline]  # whose limits hold, one a subject
    protocols: Sequence[Protocol]  # that readings are averaged by, one a subject
    reliability: Ints
    selection: Selection
    averages: Averages
    alternatives: Alternatives
    classified: Classified
    sureness: Sureness
    facts: dict[str, Columns]  # type: ignore[type-arg]  # by scope; each has its own source
    verdicts: dict[str, Verdicts]  # by scope

    @cached_property
    def checks(self) -> Checks:
        """The device checks of the batch."""
        found: Checks = self.facts["device"].source
        return found


def assess_requests(requests: Sequence[Request], rules: Rules) -> Assessment:
    """Assess the subjects of several requests together; each one's result is as if it had come alone."""
    return assess_batch(batch_of(requests, sitting_gaps(requests, rules)), rules)


def sitting_gaps(requests: Sequence[Request], rules: Rules) -> list[float]:
    """Return how many minutes apart each request's protocol puts its sittings."""
    return [rules.ruleset.protocol_for(request).limits["protocol.sitting_gap_minutes"] for request in requests]


def assess_batch(batch: Batch, rules: Rules) -> Assessment:
    """Assess a batch, wherever its columns came from. Of its requests only subject and options are looked at."""
    ruleset, programs, requests = rules.ruleset, rules.programs, batch.requests
    guidelines = [ruleset.guideline_for(request) for request in requests]
    protocols = [ruleset.protocol_for(request) for request in requests]
    profile = _profiles(programs["reading"], guidelines, protocols)

    readings, sittings = columns_of_readings(batch), columns_of_sittings(batch)
    on_readings = programs["reading"].judge(readings.__getitem__, profile[batch.subject_of])
    on_sittings = programs["sitting"].judge(sittings.__getitem__, profile[batch.subject_of_sitting])
    reliability = reliability_of(batch, on_readings, on_sittings)

    selection = select(batch, reliability, readings["work_day"], protocols)
    averages = average(batch, {**selection.averages, **selection.alternatives})

    series = columns_of_series(Series(batch, readings, reliability, selection, averages, protocols))
    devices = columns_of_devices(batch, protocols)
    on_series = programs["series"].judge(series.__getitem__, profile)
    on_devices = programs["device"].judge(devices.__getitem__, profile[devices.source.subject_of])

    of_checks: Checks = devices.source
    height, agreement = readings["hydrostatic_offset_mmhg"], of_checks.agreement
    on_both, of_both = {"reading": on_readings, "sitting": on_sittings}, {"reading": readings, "sitting": sittings}
    technique = known_errors(batch, on_both, of_both)
    offsets = offsets_of(batch, height, technique, of_checks.subject_of, agreement.pairs, agreement.bias)
    others = alternatives(batch, selection, averages, protocols, ruleset.protocols, offsets)
    measured = long_run(averages, population_at_home([request.population for request in requests]), ruleset.in_office)
    at_home = ruleset.at_home
    usual = usual_errors(batch, selection, averages, on_both, of_both, at_home) if at_home else None

    return Assessment(
        rules=ruleset,
        batch=batch,
        guidelines=guidelines,
        protocols=protocols,
        reliability=reliability,
        selection=selection,
        averages=averages,
        alternatives=others,
        classified=classify(averages, others, guidelines),
        sureness=_sureness(measured, usual, guidelines),
        facts={"reading": readings, "sitting": sittings, "series": series, "device": devices},
        verdicts={"reading": on_readings, "sitting": on_sittings, "series": on_series, "device": on_devices},
    )


def _sureness(measured: LongRun, usual: Usual | None, guidelines: Sequence[Guideline]) -> Sureness:
    if usual is None:
        return Sureness(measured, probabilities(measured, guidelines))
    known, home = measured.knowing(usual.first_day), (SETTINGS[HOME],)
    with_usual_errors = probabilities(measured.less(usual.in_all), guidelines, home)
    return Sureness(known, probabilities(known, guidelines), usual.in_all, with_usual_errors)


def _profiles(program: Program, guidelines: Sequence[Guideline], protocols: Sequence[Protocol]) -> Ints:
    pairs = zip(guidelines, protocols, strict=True)
    return np.array([program.profiles[guideline.id, protocol.id] for guideline, protocol in pairs], dtype=np.int64)
