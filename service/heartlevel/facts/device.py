"""Facts of one device check: a person's device held against a reference."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats, Ints
from heartlevel.facts.catalogue import DERIVED, derived, derived_both
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.statistics.accuracy_standard import LIMITS as STANDARD_LIMITS
from heartlevel.statistics.accuracy_standard import Standard, standard
from heartlevel.statistics.agreement import VERDICTS, Agreement, agreement
from heartlevel.statistics.comparisons import comparisons_of
from heartlevel.statistics.procedure import LIMITS, PROCEDURE_VERDICTS, Procedure, procedure
from heartlevel.vocabulary import MMHG, PRESSURES


@dataclass(frozen=True, slots=True)
class Checks:
    """All device checks of a batch."""

    subject_of: Ints
    agreement: Agreement
    standard: Standard
    procedure: Procedure


Devices: TypeAlias = Columns[Checks]


def columns_of_devices(batch: Batch, protocols: Sequence[Protocol]) -> Devices:
    """Return the facts of all device checks, the subject's among them."""
    checks = _checks(batch, protocols) if batch.checks else _no_checks()
    return Columns(checks, DERIVED["device"], batch.subjects, checks.subject_of)


@cache  # most batches have none
def _no_checks() -> Checks:
    no_subject = np.zeros(0, dtype=np.int64)
    compared, no_limit = comparisons_of([]), np.zeros(0)
    judged = standard(compared, dict.fromkeys(STANDARD_LIMITS, no_limit))
    stepwise = procedure([], [], dict.fromkeys(LIMITS, no_limit))
    return Checks(no_subject, agreement(compared, no_limit, no_limit), judged, stepwise)


def _checks(batch: Batch, protocols: Sequence[Protocol]) -> Checks:
    subjects = [subject for subject, request in enumerate(batch.requests) for _ in request.checks]
    own = [protocols[subject] for subject in subjects]

    def limit(name: str) -> Floats:
        return np.array([protocol.limits[f"protocol.device_check.{name}"] for protocol in own], dtype=np.float64)

    compared = comparisons_of(batch.checks)
    agreed = agreement(compared, limit("largest_bias"), limit("minimum_pairs"))
    judged = standard(compared, {name: limit(f"standard.{name}") for name in STANDARD_LIMITS})
    orders = [protocol.check_order for protocol in own]
    stepwise = procedure(batch.checks, orders, {name: limit(f"procedure.{name}") for name in LIMITS})
    return Checks(np.array(subjects, dtype=np.int64), agreed, judged, stepwise)


_enter, _enter_both = partial(derived, "device"), partial(derived_both, "device")


def _row(values: Floats, pressure: str) -> Floats:
    row: Floats = values[PRESSURES.index(pressure)]
    return row


_enter("check_pairs", "number of comparisons", "Pairs of readings compared",
       lambda facts: facts.source.agreement.pairs, unit="1")  # fmt: skip
_enter("check_occasions", "people or occasions named by the pairs; a pair that names none is one of its own",
       "Independent comparisons", lambda facts: facts.source.agreement.occasions, unit="1")  # fmt: skip
_enter_both("check_{}_bias", "mean of the occasions' mean device − reference, {}", "{} bias of the device",
            lambda facts, pressure: _row(facts.source.agreement.bias, pressure), unit=MMHG)  # fmt: skip
_enter_both("check_{}_sd", "standard deviation of single device − reference, {}", "Spread of the {} differences",
            lambda facts, pressure: _row(facts.source.agreement.sd, pressure), unit=MMHG)  # fmt: skip
_enter("check_verdict", "equivalence of the bias within the protocol's largest bias",
       "Whether the device agrees with the reference", lambda facts: facts.source.agreement.verdict,
       names=VERDICTS)  # fmt: skip
_enter("check_procedure", "systolic differences of a sequence by the protocol's bands; unknown where pairs were sent",
       "What the stepwise check says of the device", lambda facts: facts.source.procedure.verdict,
       names=PROCEDURE_VERDICTS, asked=False)  # fmt: skip
_enter("check_replace_though_exact", "share of stepwise checks of a device without bias that end with replace; readings "
       "scatter by the protocol's sd_of_readings", "How often chance makes the stepwise check fail an exact device",
       lambda facts: facts.source.procedure.replace_though_exact, unit="1", share=True, asked=False)  # fmt: skip
_enter("check_usable_though_off", "share of stepwise checks that end with usable, of a device off by the first step's "
       "larger band", "How often chance makes the stepwise check pass a device that is off",
       lambda facts: facts.source.procedure.usable_though_off, unit="1", share=True, asked=False)  # fmt: skip
for _step, _compared in (("first", "device before the first reference"),
                         ("second", "mean of the device before and after the first reference")):  # fmt: skip
    _enter_both(f"check_{_step}_{{}}_difference", f"{_compared} − that reference, {{}}",
                f"{{}} difference at the {_step} step of the stepwise check",
                lambda facts, pressure, step: _row(getattr(facts.source.procedure, step), pressure), _step,
                unit=MMHG, asked=False)  # fmt: skip
