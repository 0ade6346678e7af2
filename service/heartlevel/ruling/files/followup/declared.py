"""What rule files may hold of following a person up, declared once."""

from heartlevel.intake.fields import Block, part
from heartlevel.ruling.files.fields import count, number
from heartlevel.ruling.files.schema import NEEDED, SOURCES, RuleSetBlock, SpreadBlock
from heartlevel.vocabulary import MMHG


class PausesBlock(Block):
    """How long readings of a setting may pause within one period."""

    home = count("at home", "d", 1, 3650, **NEEDED)
    office = count("in the office", "d", 1, 3650, **NEEDED)
    ambulatory = count("ambulatory", "d", 1, 3650, **NEEDED)


class ChangeLimitsBlock(Block):
    """How large a change is, either way."""

    systolic = number("systolic change", MMHG, 0, 100, **NEEDED)
    diastolic = number("diastolic change", MMHG, 0, 100, **NEEDED)


class SideChangeBlock(Block):
    """How averages of one person differ from period to period where nothing changed, by one way of measuring."""

    between_periods = part(SpreadBlock, "standard deviation between periods that more days do not lessen", **NEEDED)
    between_days = part(SpreadBlock, "standard deviation between days within a period", **NEEDED)
    possible_from = part(ChangeLimitsBlock, "a change from here on may be one", **NEEDED)
    clear_from = part(ChangeLimitsBlock, "a change from here on is more than chance, if its interval agrees", **NEEDED)


class ChangesBlock(Block):
    """By way of measuring."""

    home = part(SideChangeBlock, "home averages", **NEEDED)
    office = part(SideChangeBlock, "office averages", **NEEDED)
    ambulatory_day = part(SideChangeBlock, "ambulatory averages of the day", data_key="ambulatory-day", **NEEDED)


class ObservedShareBlock(Block):
    """How probable a technique fault is at home where nobody recorded it, and staff had watched."""

    seen = number("where they saw it", "1", 0, 1, **NEEDED)
    not_seen = number("where they saw that it was not there", "1", 0, 1, **NEEDED)


class FollowUpBlock(Block):
    """What is held against what, and when, where a person is followed up."""

    longest_pause_days = part(PausesBlock, "a longer pause ends a period", **NEEDED)
    change = part(ChangesBlock, "how far apart two periods lie by chance", **NEEDED)
    degrees_of_freedom = number("what the spread between days weighs beside the person's own", "1", 0, 100, **NEEDED)
    opposite_seasons_days = number("days of the year between periods of opposite seasons", "d", 1, 183, **NEEDED)
    season = part(SpreadBlock, "difference of averages of opposite seasons", **NEEDED)
    sure_from = number("probability from which a target is said to be attained, or not", "1", 0.5, 1, **NEEDED)
    observed_within_days = count("days before or after an observation for which it stands in", "d", 0, 366, **NEEDED)
    observed_share = part(ObservedShareBlock, "how probable a fault is at home", **NEEDED)
    sources = SOURCES


class HeadBlock(RuleSetBlock):
    """What the rule set calls itself, what is usual, and how people are followed up."""

    follow_up = part(FollowUpBlock, "how people are followed up")
