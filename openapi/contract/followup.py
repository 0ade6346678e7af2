"""What follows once more was measured, declared."""

from marshmallow import fields

from contract.declaring import ClosedSchema, a_choice, a_count, a_list, a_number, a_text
from heartlevel.statistics.classification import CLASSIFIED
from heartlevel.statistics.followup.periods import BEGINS


class PeriodAverageSchema(ClosedSchema):
    """The average by protocol in one setting, of one period alone."""

    setting = a_choice(CLASSIFIED, "where its readings were taken")
    readings = a_count("readings averaged")
    days = a_count("days averaged")
    systolic = a_number("systolic average")
    diastolic = a_number("diastolic average")
    category = a_text("id of the category it reaches, enough for the protocol or not", nullable=True)


class PeriodJudgedSchema(ClosedSchema):
    """A stretch of a person's readings that is averaged by itself."""

    name = a_text("the caller's name for it", nullable=True)
    begins = a_choice(BEGINS, "why it begins where it does")
    from_ = a_text("day of its first reading", data_key="from", attribute="from")
    to = a_text("day of its last reading")
    readings = a_count("readings in it, usable or not")
    averages = a_list(fields.Nested(PeriodAverageSchema), "of home and office")
