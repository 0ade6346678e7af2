"""The statistics of the answer, declared."""

from marshmallow import fields

from contract.declaring import (
    ClosedSchema,
    a_choice,
    a_count,
    a_field,
    a_flag,
    a_list,
    a_list_of_names,
    a_number,
    a_text,
    an_interval,
    an_object,
)
from contract.sides import SideReasonSchema, UnfitSideSchema
from heartlevel.conclusions.sureness import NO_PROBABILITY
from heartlevel.statistics.selection import BASES, LEFT_OUT
from heartlevel.vocabulary import DIRECTIONS, MEASURED_SIDES, PATTERNS, SETTINGS, SURENESSES, UNDETERMINED


class SummarySchema(ClosedSchema):
    """One quantity averaged: a pressure in mm[Hg] or the pulse rate per minute."""

    mean = a_number("mean of the readings", unit="")
    sd = a_number("sample standard deviation; null for one reading", unit="", nullable=True)
    mean_of_days = a_number("mean of the day means", unit="")
    interval95 = an_interval("of these days: t interval of the mean of day means", unit="", nullable=True)
    no_interval = a_text("why there is no interval", required=False)
    interval95_long_run = an_interval(
        "of averages by protocol: 95 % interval of the person's mean in the long run, days and weeks differing as usual, "
        "the first day's excess taken off; errors that all readings share are not in it", unit="", required=False,
        nullable=True,
    )  # fmt: skip


class LeftOutSchema(ClosedSchema):
    """Readings an average by protocol leaves out, and why."""

    because = a_choice(LEFT_OUT[1:], "the reason")
    readings = a_list_of_names("ids of the readings")


class AverageSchema(ClosedSchema):
    """An average of one setting over one selection of readings."""

    setting = a_choice(SETTINGS, "where the readings were taken")
    basis = a_choice(BASES, "which readings are averaged")
    readings = a_count("how many readings")
    days = a_count("on how many local days")
    systolic = an_object(SummarySchema, "systolic pressure")
    diastolic = an_object(SummarySchema, "diastolic pressure")
    pulse = an_object(SummarySchema, "pulse rate", required=False)
    from_ = a_text("first local day that the protocol averages", data_key="from", attribute="from", required=False)
    to = a_text("last such day", required=False)
    left_out = a_list(fields.Nested(LeftOutSchema), "what the protocol leaves out", required=False)


class SpreadSchema(ClosedSchema):
    """How one pressure varies from reading to reading."""

    sd = a_number("standard deviation")
    cv = a_number("coefficient of variation", unit="%", nullable=True)
    arv = a_number("average real variability: mean absolute difference of successive readings", nullable=True)
    arv_weighted = a_number("the same, each difference weighted by the time between the readings", nullable=True)
    day_sd = a_number("standard deviation of the day means", nullable=True)


class SpreadOfBothSchema(ClosedSchema):
    """How both pressures vary in one setting."""

    systolic = an_object(SpreadSchema, "systolic pressure")
    diastolic = an_object(SpreadSchema, "diastolic pressure")


class PairedDifferenceSchema(ClosedSchema):
    """A mean difference within days."""

    mean = a_number("mean of the days' differences", nullable=True)
    interval95 = an_interval("t interval of it; null with fewer than 3 days", nullable=True)


class MorningMinusEveningSchema(ClosedSchema):
    """Morning minus evening mean of the same day."""

    days = a_count("days that have both")
    systolic = an_object(PairedDifferenceSchema, "systolic pressure")
    diastolic = an_object(PairedDifferenceSchema, "diastolic pressure")


class VariabilitySchema(ClosedSchema):
    """How usable readings vary; a setting with too few readings is absent."""

    home = an_object(SpreadOfBothSchema, "at home", required=False)
    office = an_object(SpreadOfBothSchema, "in the office", required=False)
    morning_minus_evening = an_object(MorningMinusEveningSchema, "home days that have both", required=False)


class CoverageSchema(ClosedSchema):
    """How the usable home readings lie over days and hours."""

    days = a_count("local days")
    mornings = a_count("days with a morning reading")
    evenings = a_count("days with an evening reading")
    work_days = a_count("work days")
    free_days = a_count("free days")
    by_hour = a_field(fields.Dict, "readings by local hour", keys=fields.String(), values=fields.Integer())
    enough_for_protocol = a_flag("as many as the protocol asks for")


class UndocumentedSchema(ClosedSchema):
    """A detail whose absence kept a rule undecided."""

    item = a_text("the fact")
    share = a_number("share of the readings concerned, from 0 to 1", unit="1")


class DifferenceSchema(ClosedSchema):
    """Office minus home."""

    mean = a_number("difference of the averages by protocol")
    interval95 = an_interval("Welch interval of the difference of day means", nullable=True)


class DifferencesSchema(ClosedSchema):
    """Office minus home, for both pressures; absent where either average is."""

    systolic = an_object(DifferenceSchema, "systolic pressure", required=False)
    diastolic = an_object(DifferenceSchema, "diastolic pressure", required=False)


class LimitsComparedSchema(ClosedSchema):
    """The limits of both sides, systolic before diastolic: of the office, and of home or an ambulatory measurement."""

    home = a_text("limits at home", required=False)
    ambulatory = a_text("limits of the part of an ambulatory measurement that decides", required=False)
    office = a_text("limits in the office")


class PatternChancesSchema(ClosedSchema):
    """The probability of each pattern at a pair of limits; each place tells of the other."""

    limits = an_object(LimitsComparedSchema, "at or above which a pressure counts as raised")
    probability = a_field(fields.Dict, "by pattern", keys=fields.String(), values=fields.Float(), unit="1")


class PatternFoundSchema(ClosedSchema):
    """How home and office compare, as the rules decided it."""

    office = a_text("category in the office", nullable=True)
    home = a_text("category at home", nullable=True)
    label = a_choice((*PATTERNS, UNDETERMINED), "the pattern that the averages show, where both sides may speak")
    settled = a_choice((*PATTERNS, UNDETERMINED), "the same from its own limit of being probable on, else undetermined")
    because = a_list_of_names("ids of the findings that decided it")
    between = a_list(
        a_choice(MEASURED_SIDES, "a side"), "the side in the office and the one outside it; null where one may not speak",
        nullable=True,
    )  # fmt: skip
    unfit = a_list(fields.Nested(UnfitSideSchema), "sides that keep a pattern from being named, and why")
    office_minus_home = an_object(DifferencesSchema, "the difference")
    sureness = a_choice(SURENESSES, "how sure the label is, at the limits of hypertension")
    chances = a_list(
        fields.Nested(PatternChancesSchema),
        "how probable each pattern is in the long run, errors taken off as in `classification`, each place telling of the "
        "other; null where that cannot be told, and where nothing is classified",
        nullable=True,
    )
    chances_as_measured = a_list(
        fields.Nested(PatternChancesSchema), "the same with no error taken off that readings share", required=False
    )
    no_chances = a_text("why there are none", required=False)


class AlternativeSchema(ClosedSchema):
    """The category under another defensible selection of readings."""

    name = a_text("what if: the selection, the shift, or by-protocol- and a protocol's id; no reading is corrected")
    systolic = a_number("systolic average; null where no reading remains", nullable=True)
    diastolic = a_number("diastolic average", nullable=True)
    category = a_text("category", nullable=True)
    reason = a_text("why there is no category; the alternative then says nothing", required=False)


class TooHighSchema(ClosedSchema):
    """By how much an error is expected to make one pressure's average too high; negative where too low."""

    mean = a_number("expected error")
    sd = a_number("standard deviation of what is expected: between people with the same record")


class ErrorInItSchema(ClosedSchema):
    """An error that all readings of the average share, and that the probability takes off; the average keeps it."""

    code = a_text("id of the rule that found it, or what is usual: first-day, unrecorded-technique, unchecked-device; or "
                  "device-check")  # fmt: skip
    known = a_flag("known to be there; else what is usual where nobody recorded it")
    reads = a_choice(DIRECTIONS, "which way it shifts the average")
    systolic = an_object(TooHighSchema, "of the systolic average; absent where no size is published", required=False)
    diastolic = an_object(TooHighSchema, "of the diastolic average", required=False)
    text = a_text("what it is, in the language of the answer", nullable=True)


class AsMeasuredSchema(ClosedSchema):
    """What would be probable if no reading had an error that the others share: a detail, not the conclusion."""

    probability_at_or_above = a_field(
        fields.Dict, "probability that the long-run mean is at or above a limit, either pressure", keys=fields.String(),
        values=fields.Float(),
    )  # fmt: skip
    category_probability = a_field(
        fields.Dict, "probability that the long-run mean lies in a category, by its id; null where it cannot be told",
        keys=fields.String(), values=fields.Float(), nullable=True, unit="1",
    )  # fmt: skip


class ClassificationSchema(ClosedSchema):
    """The category of the best average there is; `reason` says why where there is none."""

    guideline = a_text("guideline whose categories these are")
    category = a_text("id of the category", nullable=True)
    reason = a_text("why there is no category", required=False)
    side = a_choice(MEASURED_SIDES, "which side was classified", required=False)
    setting = a_choice(SETTINGS, "the setting of its readings", required=False)
    basis = a_choice(("protocol",), "which readings were averaged", required=False)
    systolic = a_number("systolic average", required=False)
    diastolic = a_number("diastolic average", required=False)
    title = a_text("the guideline's own term, in the language of the answer where the wording has it", required=False)
    raised = a_flag("at or above the guideline's limit of hypertension in this setting, either pressure", required=False)
    probability_at_or_above = a_field(
        fields.Dict, "probability that the long-run mean is at or above a limit, either pressure, with the errors in "
        "`errors_in_it` taken off; empty where it cannot be told",
        keys=fields.String(), values=fields.Float(), required=False,
    )  # fmt: skip
    category_probability = a_field(
        fields.Dict, "likewise, that the long-run mean lies in a category, by its id; null where that cannot be told",
        keys=fields.String(), values=fields.Float(), required=False, nullable=True, unit="1",
    )  # fmt: skip
    no_probability = a_choice(NO_PROBABILITY[1:], "why there is no such probability", required=False)
    sureness = a_choice(SURENESSES, "how sure the category is: its certainty by the rule set's limits", required=False)
    certainty = a_number(
        "how certain the category is: as its probability, but no error that points away from one of its limits is credited "
        "with that, so that no fault of technique makes it more certain; null where it cannot be told",
        unit="1", required=False, nullable=True,
    )  # fmt: skip
    errors_in_it = a_list(fields.Nested(ErrorInItSchema), "what the probability takes off, and by how much", required=False)
    sharpened_by = a_list(fields.String(), "what nobody recorded and would make the probability sharper most: facts of "
                          "readings as in `undocumented`, or device_check", required=False)  # fmt: skip
    as_measured = an_object(AsMeasuredSchema, "the same probabilities with no such error taken off", required=False)
    would_change = a_text("what would change the category, in words; null where the rules have none", required=False,
                          nullable=True)  # fmt: skip
    even_so = a_list(
        fields.Nested(SideReasonSchema), "what speaks against the side and does not lean the way it speaks: raised or not "
        "raised stands even so", required=False,
    )  # fmt: skip
    holds = a_flag(
        "no alternative changes the category, nothing takes the side away, and it is at least probable", required=False
    )
    alternatives = a_list(fields.Nested(AlternativeSchema), "other selections", required=False)
