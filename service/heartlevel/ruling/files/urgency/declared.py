"""What the file on urgency may hold, declared once."""

from typing import Any

from heartlevel.intake.fields import Block, Choice, Items, about, part
from heartlevel.ruling.files.fields import choice, count, number
from heartlevel.ruling.files.schema import NEEDED, SOURCES
from heartlevel.vocabulary import MMHG, SYMPTOMS, URGENCY_LEVELS


class LowerRepeatBlock(Block):
    """How a lower repeat is credited."""

    after_minutes = number("shortest wait before it", "min", 0, 60, **NEEDED)
    level = choice(URGENCY_LEVELS, "how urgent the episode then is", **NEEDED)


class LoneAmbulatoryBlock(Block):
    """When severe ambulatory readings are no emergency."""

    readings = count("at most so many severe ones of a day", "1", 0, 10, **NEEDED)
    among = count("among at least so many of that day", "1", 2, 200, **NEEDED)


class BelievedBlock(Block):
    """The highest pressures that can be meant."""

    systolic = number("systolic", MMHG, 200, 400, **NEEDED)
    diastolic = number("diastolic", MMHG, 200, 400, **NEEDED)


def _symptoms(meaning: str, **more: Any) -> Items:
    return Items(Choice(SYMPTOMS, exact=True), len(SYMPTOMS), **about(meaning, **NEEDED, **more))


class SymptomTiersBlock(Block):
    """Which symptoms make which level."""

    now = _symptoms("now")
    same_day = _symptoms("the same day", data_key="same-day")
    within_days = _symptoms("within days", data_key="within-days")


class SymptomListsBlock(Block):
    """The lists of symptoms by what they come with."""

    high = part(SymptomTiersBlock, "at a severe pressure", **NEEDED)
    low = part(SymptomTiersBlock, "at a low pressure", **NEEDED)
    maternity = part(SymptomTiersBlock, "in pregnancy and soon after birth, at any pressure", **NEEDED)
    any_ = part(SymptomTiersBlock, "in everybody else, at any pressure", data_key="any", **NEEDED)


class OlderBlock(Block):
    """How urgent an episode still is that is no longer fresh."""

    after_days = count("older than so many days", "d", 1, 366, **NEEDED)
    level = choice(URGENCY_LEVELS, "at most so urgent", **NEEDED)
    in_maternity = choice(URGENCY_LEVELS, "the same in pregnancy and soon after birth", **NEEDED)


class HistoryBlock(Block):
    """When an episode is history: older than so many days."""

    after_days = count("in everybody else", "d", 1, 366, **NEEDED)
    in_maternity_after_days = count("in pregnancy and soon after birth", "d", 1, 366, **NEEDED)
    answered_after_days = count("where a lower repeat was credited", "d", 1, 366, **NEEDED)


class UrgencyBlock(Block):
    """How urgent is what urgent rules name."""

    older = part(OlderBlock, "how urgent an older episode still is", **NEEDED)
    history = part(HistoryBlock, "when an episode is history", **NEEDED)
    without_symptoms = choice(URGENCY_LEVELS, "how urgent a severe value without any symptom is", **NEEDED)
    lower_repeat = part(LowerRepeatBlock, "how a lower repeat is credited", **NEEDED)
    lone_ambulatory = part(LoneAmbulatoryBlock, "when severe ambulatory readings are no emergency", **NEEDED)
    believed_up_to = part(BelievedBlock, "a higher number is no pressure", **NEEDED)
    symptoms = part(SymptomListsBlock, "symptoms by level", **NEEDED)
    sources = SOURCES
