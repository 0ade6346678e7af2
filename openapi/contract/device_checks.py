"""Agreement of devices in the answer, declared."""

from typing import Any

from contract.declaring import (
    ClosedSchema,
    a_choice,
    a_count,
    a_flag,
    a_number,
    a_text,
    an_interval,
    an_object,
)
from heartlevel.statistics.agreement import VERDICTS
from heartlevel.statistics.procedure import PROCEDURE_VERDICTS


def both(block: type[ClosedSchema], meaning: str) -> tuple[Any, Any]:
    """Declare an object for each pressure."""
    return an_object(block, f"{meaning}, systolic"), an_object(block, f"{meaning}, diastolic")


class BiasSchema(ClosedSchema):
    """Device minus reference."""

    mean = a_number("mean of the occasions' mean differences", nullable=True)
    interval95 = an_interval("t interval of the mean difference", nullable=True)


class BiasOfBothSchema(ClosedSchema):
    """Device minus reference, for both pressures."""

    systolic, diastolic = both(BiasSchema, "mean difference")


class DeviationOfBothSchema(ClosedSchema):
    """Standard deviation of single differences, for both pressures."""

    systolic = a_number("systolic pressure", nullable=True)
    diastolic = a_number("diastolic pressure", nullable=True)


class LimitsOfBothSchema(ClosedSchema):
    """95 % limits of agreement, for both pressures."""

    systolic = an_interval("systolic pressure", nullable=True)
    diastolic = an_interval("diastolic pressure", nullable=True)


class LimitIntervalsSchema(ClosedSchema):
    """How well the limits of agreement are known."""

    low = an_interval("95 % t interval of the lower limit", nullable=True)
    high = an_interval("95 % t interval of the upper limit", nullable=True)


class LimitIntervalsOfBothSchema(ClosedSchema):
    """Intervals of the limits of agreement, for both pressures."""

    systolic, diastolic = both(LimitIntervalsSchema, "intervals of the limits")


class ProportionalBiasSchema(ClosedSchema):
    """Whether the difference grows or shrinks with the pressure; null for fewer than three occasions."""

    slope = a_number("slope of the difference on the mean of device and reference", unit="1", nullable=True)
    interval95 = an_interval("t interval of the slope", unit="1", nullable=True)
    p = a_number("two-sided p of no slope", unit="1", nullable=True)


class ProportionalBiasOfBothSchema(ClosedSchema):
    """Proportional bias, for both pressures."""

    systolic, diastolic = both(ProportionalBiasSchema, "proportional bias")


class StandardOfOneSchema(ClosedSchema):
    """Criteria 1 and 2 of ISO 81060-2 for one pressure."""

    mean = a_number("mean error of all pairs", nullable=True)
    sd = a_number("standard deviation of all pairs", nullable=True)
    criterion_1 = a_flag("mean and standard deviation of all pairs are small enough")
    sd_of_people = a_number("standard deviation of the people's mean errors", nullable=True)
    largest_sd_of_people = a_number("largest one allowed at this mean error; null if none is", nullable=True)
    criterion_2 = a_flag("the standard deviation of the people's mean errors is small enough")


class StandardJudgedSchema(ClosedSchema):
    """The accuracy standard's criteria, each occasion taken as one person. No validation of a device model."""

    enough = a_flag("there are as many people and pairs as the standard asks for")
    systolic, diastolic = both(StandardOfOneSchema, "both criteria")


class DifferenceOfBothSchema(ClosedSchema):
    """Device minus reference at one step, for both pressures; null where the readings for it are not there."""

    systolic = a_number("systolic pressure; it decides", nullable=True)
    diastolic = a_number("diastolic pressure", nullable=True)


class StepwiseDifferencesSchema(ClosedSchema):
    """Device minus reference at both steps."""

    first = an_object(DifferenceOfBothSchema, "the device before the first reference, minus that reference")
    second = an_object(
        DifferenceOfBothSchema, "mean of the device before and after the first reference, minus that reference"
    )


class ErrorRatesSchema(ClosedSchema):
    """How often the stepwise check errs by chance, as its bands and the usual scatter of readings have it."""

    replace_though_exact = a_number("share of checks of an exact device that end with replace", "1")
    usable_though_off = a_number("share of checks that end with usable, of a device off by `off_by`", "1")
    off_by = a_number("systolic bias of that device")
    sd_of_readings = a_number("standard deviation, by chance, of two systolic readings minutes apart; the protocol's")
    text = a_text("the same in a sentence")


class ProcedureFollowedSchema(ClosedSchema):
    """The stepwise check of one person's device, by the protocol's bands: a screening rule, not the accuracy standard."""

    verdict = a_choice(
        PROCEDURE_VERDICTS,
        "go-on: one more reading decides; order-not-followed: the readings that decide were not taken in turn")  # fmt: skip
    differences = an_object(StepwiseDifferencesSchema, "differences at both steps")
    error_rates = an_object(ErrorRatesSchema, "how often chance alone leads to a wrong verdict")


class DeviceCheckedSchema(ClosedSchema):
    """How a device agrees with its reference."""

    device = a_text("id of the device")
    reference_device = a_text("the caller's name for the reference", nullable=True)
    pairs = a_count("comparisons")
    occasions = a_count("independent ones: people or visits named, each pair that names none, a sequence as a whole")
    verdict = a_choice(VERDICTS, "an equivalence test; few independent pairs leave it undecided")
    bias = an_object(BiasOfBothSchema, "mean difference")
    sd = an_object(DeviationOfBothSchema, "standard deviation of single differences, within and between occasions")
    limits95 = an_object(LimitsOfBothSchema, "95 % limits of agreement of single readings")
    limits95_intervals = an_object(LimitIntervalsOfBothSchema, "intervals of those limits")
    proportional_bias = an_object(ProportionalBiasOfBothSchema, "slope of the difference on the mean")
    standard = an_object(StandardJudgedSchema, "ISO 81060-2; null where no occasion has several pairs", nullable=True)
    procedure = an_object(ProcedureFollowedSchema, "the stepwise check; null where pairs were sent", nullable=True)
