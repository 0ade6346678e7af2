"""What a file of patients may hold: a request, and what its answer must say."""

from heartlevel.intake.fields import Anything, Block, Choice, Items, Part, Text, about, part, text
from heartlevel.ruling.files.fields import choice, count, flag
from heartlevel.ruling.files.schema import NEEDED, SENTENCES
from heartlevel.ruling.language.statements import STATEMENTS
from heartlevel.vocabulary import PATTERNS, UNDETERMINED, URGENCY_LEVELS

MOST_NAMED = 60


def names(meaning: str) -> Items:
    """Declare a list of names."""
    return Items(Text(SENTENCES), MOST_NAMED, **about(meaning))


class SeriesBlock(Block):
    """Readings of a regular week, in short: those of a sitting a minute apart, at the same times of every day."""

    first_day = text("day of the first readings, YYYY-MM-DD", data_key="from", **NEEDED)
    days = count("how many days in a row; 1 where absent", "d", 1, 400)
    at = Anything(**about("time of day (in quotes) to the sitting's readings, each [systolic, diastolic]", **NEEDED))
    every = Anything(**about("fields that all of these readings share; the setting is home where it says no other"))


class ExpectBlock(Block):
    """What the answer must say. What is not named here may be anything, but for problems: there are none then."""

    findings = names("rules that must be told")
    absent = names("rules that must not be told")
    says = names("words that must stand in a finding's title or explanation")
    reliability = Anything(**about("reading id to its reliability"))
    reliabilities = Anything(**about("reliability to how many readings have it; those not listed have none"))
    averages = Anything(**about("setting to [systolic, diastolic, readings] by the protocol; null for no average"))
    category = text("the category; null for none")
    pattern = choice((*PATTERNS, UNDETERMINED), "how office and home compare")
    urgent = flag("whether anything is urgent")
    level = choice(URGENCY_LEVELS, "how urgent it is")
    advises = names("words that must stand in what is advised for its urgency")
    statements = Items(Choice(tuple(STATEMENTS), exact=True), MOST_NAMED, **about("statements that must be made"))
    first_step = text("the first next step; null for none")
    next_steps = names("next steps that must be there")
    not_next_steps = names("next steps that must not be there")
    problems = names("codes of all problems of the request, in order of the alphabet")
    answer = Anything(**about("part of the answer: fields as in an answer; lists item by item, {} for any item"))


class PatientBlock(Block):
    """One patient."""

    who = text("who it is, in a few words; no two of a file alike", 160, **NEEDED)
    because = text("why that is to be expected", SENTENCES)
    source = text("where that comes from", 400)
    request = Anything(**about("a request as it would be sent", **NEEDED))
    series = Items(Part(SeriesBlock), MOST_NAMED, **about("more of its readings, in short"))
    expect = part(ExpectBlock, "what must come", **NEEDED)
