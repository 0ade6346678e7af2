"""Facts of one device check: a person's device held against a reference."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np

from heartlevel.columns import Columns, Floats, Ints
from heartlevel.facts.catalogue import DERIVED, fact
from heartlevel.intake.batch import Batch
from heartlevel.profiles import Protocol
from heartlevel.statistics.accuracy_standard import LIMITS as STANDARD_LIMITS
from heartlevel.statistics.accuracy_standard import Standard, standard
from heartlevel.statistics.agreement import VERDICTS, Agreement, agreement
from heartlevel.statistics.comparisons import comparisons_of
from heartlevel.statistics.procedure import BANDS, PROCEDURE_VERDICTS, Procedure, procedure
from heartlevel.vocabulary import MMHG


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
    return Columns(checks, {}, DERIVED["device"], batch.subjects, checks.subject_of)


@cache  # most batches have none
def _no_checks() -> Checks:
    no_subject = np.zeros(0, dtype=np.int64)
    compared, no_limit = comparisons_of([]), np.zeros(0)
    judged = standard(compared, dict.fromkeys(STANDARD_LIMITS, no_limit))
    stepwise = procedure([], [], dict.fromkeys(BANDS, no_limit))
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
    stepwise = procedure(batch.checks, orders, {name: limit(f"procedure.{name}") for name in BANDS})
    return Checks(np.array(subjects, dtype=np.int64), agreed, judged, stepwise)


def _row(values: Floats, pressure: int) -> Floats:
    row: Floats = values[pressure]
    return row


@fact("device", "number of comparisons", unit="1")
def check_pairs(facts: Devices) -> Floats:
    """Pairs of readings compared."""
    return facts.source.agreement.pairs


@fact("device", "people or occasions named by the pairs; a pair that names none is one of its own", unit="1")
def check_occasions(facts: Devices) -> Floats:
    """Independent comparisons."""
    return facts.source.agreement.occasions


@fact("device", "mean of the occasions' mean device − reference, systolic", unit=MMHG)
def check_systolic_bias(facts: Devices) -> Floats:
    """Systolic bias of the device."""
    return _row(facts.source.agreement.bias, 0)


@fact("device", "mean of the occasions' mean device − reference, diastolic", unit=MMHG)
def check_diastolic_bias(facts: Devices) -> Floats:
    """Diastolic bias of the device."""
    return _row(facts.source.agreement.bias, 1)


@fact("device", "standard deviation of single device − reference, systolic", unit=MMHG)
def check_systolic_sd(facts: Devices) -> Floats:
    """Spread of the systolic differences."""
    return _row(facts.source.agreement.sd, 0)


@fact("device", "standard deviation of single device − reference, diastolic", unit=MMHG)
def check_diastolic_sd(facts: Devices) -> Floats:
    """Spread of the diastolic differences."""
    return _row(facts.source.agreement.sd, 1)


@fact("device", "equivalence of the bias within the protocol's largest bias", names=VERDICTS)
def check_verdict(facts: Devices) -> Floats:
    """Whether the device agrees with the reference."""
    return facts.source.agreement.verdict


@fact("device", "systolic differences of a sequence by the protocol's bands; unknown where pairs were sent",
      names=PROCEDURE_VERDICTS, asked=False)  # fmt: skip
def check_procedure(facts: Devices) -> Floats:
    """What the stepwise check says of the device."""
    return facts.source.procedure.verdict


@fact("device", "device before the first reference − that reference, systolic", unit=MMHG, asked=False)
def check_first_systolic_difference(facts: Devices) -> Floats:
    """Systolic difference at the first step of the stepwise check."""
    return _row(facts.source.procedure.first, 0)


@fact("device", "device before the first reference − that reference, diastolic", unit=MMHG, asked=False)
def check_first_diastolic_difference(facts: Devices) -> Floats:
    """Diastolic difference at the first step of the stepwise check."""
    return _row(facts.source.procedure.first, 1)


@fact("device", "mean of the device before and after the first reference − that reference, systolic", unit=MMHG,
      asked=False)  # fmt: skip
def check_second_systolic_difference(facts: Devices) -> Floats:
    """Systolic difference at the second step of the stepwise check."""
    return _row(facts.source.procedure.second, 0)


@fact("device", "mean of the device before and after the first reference − that reference, diastolic", unit=MMHG,
      asked=False)  # fmt: skip
def check_second_diastolic_difference(facts: Devices) -> Floats:
    """Diastolic difference at the second step of the stepwise check."""
    return _row(facts.source.procedure.second, 1)
