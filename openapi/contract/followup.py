"""What follows once more was measured, declared."""

from marshmallow import fields

from contract.declaring import (
    ClosedSchema,
    a_choice,
    a_count,
    a_flag,
    a_list,
    a_list_of_names,
    a_number,
    a_text,
    an_interval,
    an_object,
)
from contract.sides import SideSchema
from heartlevel.conclusions.followup.change import CAUTIONS, COMPARED_SIDES
from heartlevel.conclusions.followup.devices import PAIRED_BY
from heartlevel.conclusions.followup.pulse import RESTING
from heartlevel.conclusions.followup.target import AGE_UNKNOWN, ORIGINS, TARGET_STATES, TARGETED_SIDES, UNTOLD
from heartlevel.statistics.followup.change import STATES
from heartlevel.statistics.followup.periods import BEGINS
from heartlevel.vocabulary import STANDINGS, TARGET_COMPARATORS, TARGET_EXCEPTIONS


class ChangedSchema(ClosedSchema):
    """How one pressure's average changed."""

    before = a_number("average of the period before")
    now = a_number("average of the latest period")
    change = a_number("now less before")
    interval95 = an_interval("95 % interval of the change, with what usually lies between periods")


class CautionSchema(ClosedSchema):
    """What may explain a difference, or take from it."""

    code = a_choice(CAUTIONS, "what")
    text = a_text("in words; null where the wording has none", nullable=True)


class SideChangedSchema(ClosedSchema):
    """How the average of one way of measuring changed."""

    side = a_choice(COMPARED_SIDES, "how it was measured")
    state = a_choice(STATES, "whether it is lower, or higher, by more than chance explains; may be; or is not")
    text = a_text("the same in words; null where the wording has none", nullable=True)
    systolic = an_object(ChangedSchema, "systolic pressure")
    diastolic = an_object(ChangedSchema, "diastolic pressure")
    cautions = a_list(fields.Nested(CautionSchema), "what may explain it, or take from it")


class SpanSchema(ClosedSchema):
    """A period, named by its days."""

    name = a_text("the caller's name for it", nullable=True)
    from_ = a_text("day of its first reading", data_key="from", attribute="from")
    to = a_text("day of its last reading")


class ChangeSinceSchema(ClosedSchema):
    """The latest period against the one before."""

    since = an_object(SpanSchema, "the period before")
    sides = a_list(fields.Nested(SideChangedSchema), "each way of measuring that both have, on its own")


class FloorSchema(ClosedSchema):
    """The lower end of a target that is a range."""

    systolic = a_number("systolic pressure", nullable=True)
    diastolic = a_number("diastolic pressure", nullable=True)


class SideTargetSchema(ClosedSchema):
    """A target in one setting. It is attained where both pressures attain it, and not below its range."""

    side = a_choice(TARGETED_SIDES, "how it was measured")
    state = a_choice(TARGET_STATES, "whether the long-run means attain it, surely enough by the rule set")
    because = a_choice(UNTOLD, "why that cannot be told", nullable=True)
    text = a_text("the same in words; null where the wording has none", nullable=True)
    comparator = a_choice(TARGET_COMPARATORS, "whether the target itself attains it", nullable=True)
    systolic = a_number("systolic target; null where there is none", nullable=True, required=False)
    diastolic = a_number("diastolic target; null where there is none", nullable=True, required=False)
    not_below = an_object(FloorSchema, "the lower end of its range", nullable=True)
    probability_attained = a_number("probability that neither long-run mean reaches it", unit="1", nullable=True)
    probability_below = a_number("probability that either long-run mean is below its range", unit="1", nullable=True)


class ExceptionSchema(ClosedSchema):
    """Whom the target may not hold for; nothing recorded says that the person is, or is not, one."""

    code = a_choice((AGE_UNKNOWN, *TARGET_EXCEPTIONS), "whom")
    text = a_text("in words; null where the wording has none", nullable=True)


class TargetReachedSchema(ClosedSchema):
    """The target of treatment. It says nothing of what treatment should be."""

    from_ = a_choice(ORIGINS, "whose target it is", data_key="from", attribute="from")
    guideline = a_text("the guideline whose target it is", nullable=True)
    side = a_choice(TARGETED_SIDES, "the side that `state` is of: home, where it was measured", nullable=True)
    state = a_choice(TARGET_STATES, "whether it is attained there")
    sides = a_list(fields.Nested(SideTargetSchema), "each setting on its own")
    exceptions = a_list(fields.Nested(ExceptionSchema), "whom it may not hold for")
    sources = a_list(fields.Nested(lambda: TargetSourceSchema()), "where it comes from")


class TargetSourceSchema(ClosedSchema):
    """Where a target comes from."""

    cite = a_text("author, title or body, year, place")
    standing = a_choice(STANDINGS, "published, published but quoted from memory, or common practice")


class SidePulseSchema(ClosedSchema):
    """The average pulse of the readings that the protocol averages, as far as it was recorded."""

    side = a_choice(RESTING, "how it was measured")
    mean = a_number("mean of the readings", unit="/min")
    sd = a_number("standard deviation of the readings; null for one", unit="/min", nullable=True)
    days = a_count("days on which it was recorded")


class RestingPulseSchema(ClosedSchema):
    """The pulse at rest. What is slow or fast is a finding."""

    sides = a_list(fields.Nested(SidePulseSchema), "each way of measuring, on its own")


class DeviceAverageSchema(ClosedSchema):
    """What one of several devices measured: the mean of its usable readings."""

    device = a_text("the caller's name for the device")
    side = a_choice(RESTING, "how it was measured")
    readings = a_count("usable readings")
    days = a_count("days that have one")
    systolic = a_number("systolic average")
    diastolic = a_number("diastolic average")


class PairedMeanSchema(ClosedSchema):
    """The mean of differences of pairs."""

    mean = a_number("mean of the pairs' differences; null without a pair", nullable=True)
    interval95 = an_interval("t interval of it; null with fewer than 3 pairs", nullable=True)


class DeviceDifferenceSchema(ClosedSchema):
    """How far two devices of one person differ: the first less the second."""

    side = a_choice(RESTING, "how it was measured")
    devices = a_list_of_names("the two devices")
    paired_by = a_choice(PAIRED_BY, "sittings, or else days, that have readings of both; null for neither", nullable=True)
    pairs = a_count("how many of them there are")
    systolic = an_object(PairedMeanSchema, "systolic pressure")
    diastolic = an_object(PairedMeanSchema, "diastolic pressure")


class HabitSchema(ClosedSchema):
    """Something of the technique, by the rule that would find the fault."""

    rule = a_text("the rule")
    title = a_text("what the fault is called")
    patient = a_text("to the person: what to do otherwise; null where no finding of this answer says it", required=False,
                     nullable=True)  # fmt: skip


class ObservedBeforeSchema(ClosedSchema):
    """The observation before, as of before and after teaching."""

    on = a_text("day")
    amiss = a_list_of_names("rules of the faults seen then")
    mended = a_list_of_names("those of them that are right now")


class ObservedTechniqueSchema(ClosedSchema):
    """What staff saw while the person measured as at home, on the last day that they watched."""

    on = a_text("day")
    right = a_list(fields.Nested(HabitSchema), "faults that were not there")
    change_first = a_list(fields.Nested(HabitSchema), "faults that were, the largest published effect first")
    not_seen = a_list_of_names("rules of faults that nobody noted anything of")
    stands_in_at_home = a_flag("in probabilities of the home average it stands in for what nobody recorded there")
    before = an_object(ObservedBeforeSchema, "null for a first observation", nullable=True)


class PeriodSideSchema(SideSchema):
    """One way of measuring in one period, as it would stand in an answer of its own."""

    reasons = a_list_of_names("codes of what takes away what it says")


class PeriodJudgedSchema(SpanSchema):
    """A stretch of a person's readings that is averaged by itself."""

    begins = a_choice(BEGINS, "why it begins where it does")
    readings = a_count("readings in it, usable or not")
    sides = a_list(fields.Nested(PeriodSideSchema), "each way of measuring, on its own")
