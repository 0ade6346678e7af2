"""How urgent it is, declared."""

from marshmallow import fields, validate

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
    an_object,
)
from heartlevel.conclusions.urgency.sentences import COUNTED_FROM
from heartlevel.vocabulary import EPISODE_KINDS, SYMPTOMS, URGENCY_LEVELS


class WorstSchema(ClosedSchema):
    """The worst of an episode's readings."""

    systolic = a_number("systolic pressure", unit="mm[Hg]", nullable=True)
    diastolic = a_number("diastolic pressure", unit="mm[Hg]", nullable=True)
    reading = a_text("its id; null for a reading that was lost", nullable=True)
    taken_at = a_text("when it was taken, with offset; null for a reading that was lost", nullable=True)


class FollowedBySchema(ClosedSchema):
    """The first later reading of the same setting that is out of danger, one after the wait before others."""

    systolic = a_number("systolic pressure", unit="mm[Hg]")
    diastolic = a_number("diastolic pressure", unit="mm[Hg]")
    minutes = a_number("after the episode's last reading", unit="min")
    credited = a_flag("it makes the episode less urgent; never with symptoms, in pregnancy or soon after birth")


class EpisodeSchema(ClosedSchema):
    """What urgent rules name of one kind and one day."""

    kind = a_choice(EPISODE_KINDS, "what it is")
    level = a_choice(URGENCY_LEVELS, "how urgent it is")
    worst = an_object(WorstSchema, "the worst value; null where there is none", nullable=True)
    day = a_text("local calendar day; null where it is not known", nullable=True)
    days_ago = a_field(fields.Integer, "days before the assessment, or before the newest day sent", nullable=True, unit="d")
    readings = a_count("readings of it; of lost ones all of the subject's")
    followed_by = an_object(FollowedBySchema, "what followed; null if nothing did, or it cannot be told", nullable=True)
    symptoms = a_list(fields.String(validate=validate.OneOf(SYMPTOMS)), "symptoms recorded with it or on its day")
    findings = a_list_of_names("ids of the findings behind it")


class UrgencySchema(ClosedSchema):
    """How urgent it is, and since when."""

    level = a_choice(URGENCY_LEVELS, "the most urgent of its episodes'")
    text = a_text("to a clinician: what was seen, when, what followed, and what to do")
    patient = a_text("to the person measured: what to do")
    days_counted_from = a_choice(COUNTED_FROM, "what `days_ago` are counted back from")
    episodes = a_list(fields.Nested(EpisodeSchema), "the most urgent first, then the latest")
