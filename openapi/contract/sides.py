"""What is said of each side of a person, declared."""

from marshmallow import fields

from contract.declaring import ClosedSchema, a_choice, a_count, a_flag, a_list, a_list_of_names, a_number, a_text
from heartlevel.vocabulary import CONSEQUENCES, DIRECTIONS, MEASURED_SIDES


class SideReasonSchema(ClosedSchema):
    """Something that speaks against a side."""

    code = a_text("the rule, or not-measured, too-few-readings, no-limit-published")
    finding = a_text("id of the finding that says it", nullable=True)
    consequence = a_choice(CONSEQUENCES, "takes the side away, shifts it by a known size, or makes it less sure")
    reads = a_choice(DIRECTIONS, "which way it misleads")
    takes_away = a_flag("what the side says leans on it")
    text = a_text("in words", nullable=True)


class SideSchema(ClosedSchema):
    """One way of measuring, with limits of its own."""

    side = a_choice(MEASURED_SIDES, "which")
    fit = a_flag("it may speak, and take part in a pattern")
    reasons = a_list(fields.Nested(SideReasonSchema), "what speaks against it")
    readings = a_count("usable readings")
    days = a_count("local days with one")
    systolic = a_number("systolic average by protocol", nullable=True)
    diastolic = a_number("diastolic average by protocol", nullable=True)
    category = a_text("id of its category; null where it names none", nullable=True)
    title = a_text("the guideline's own term", nullable=True)


class UnfitSideSchema(ClosedSchema):
    """A side that keeps a pattern from being named."""

    side = a_choice(MEASURED_SIDES, "which")
    codes = a_list_of_names("why: rules, or not-measured, too-few-readings, no-limit-published")
