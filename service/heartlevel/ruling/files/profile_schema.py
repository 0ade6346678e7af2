"""What guideline and protocol files may hold, declared once."""

from collections.abc import Iterator
from itertools import chain

from marshmallow import Schema

from heartlevel.intake.fields import Anything, Block, Choice, Items, Number, Part, about, part, text
from heartlevel.ruling.files.fields import choice, count, name, number
from heartlevel.ruling.files.followup.targets import TargetBlock
from heartlevel.ruling.files.schema import NEEDED, SOURCES
from heartlevel.statistics.selection import OFFICE_USES
from heartlevel.vocabulary import CHECKED_BY, MMHG


class PressureLimits(Block):
    """A systolic and a diastolic limit."""

    systolic = number("systolic limit", MMHG, 0, 400)
    diastolic = number("diastolic limit", MMHG, 0, 400)


class BothPressures(Block):
    """A systolic and a diastolic limit that every guideline has."""

    systolic = number("systolic limit", MMHG, 0, 400, **NEEDED)
    diastolic = number("diastolic limit", MMHG, 0, 400, **NEEDED)


class Level(Block):
    """What counts as raised in one setting."""

    hypertension = part(BothPressures, "hypertension from here, either pressure", **NEEDED)


class AmbulatoryLevel(Block):
    """What counts as raised by a method of which not every guideline publishes a limit."""

    hypertension = part(PressureLimits, "hypertension from here, either pressure", **NEEDED)


class LevelSet(Block):
    """A guideline's limits."""

    office = part(Level, "in the office", **NEEDED)
    office_unattended = part(AmbulatoryLevel, "in the office, with nobody in the room; null if none published",
                             data_key="office-unattended", **NEEDED)  # fmt: skip
    home = part(Level, "at home", **NEEDED)
    ambulatory_day = part(AmbulatoryLevel, "ambulatory, day; null if none published", data_key="ambulatory-day", **NEEDED)
    ambulatory_night = part(AmbulatoryLevel, "ambulatory, night, likewise", data_key="ambulatory-night", **NEEDED)
    ambulatory_24h = part(AmbulatoryLevel, "ambulatory, 24 hours, likewise", data_key="ambulatory-24h", **NEEDED)
    severe = part(BothPressures, "severe from here, either pressure", **NEEDED)
    low = part(BothPressures, "low below here, either pressure", **NEEDED)


class CategoryBlock(Block):
    """One category; the first of a setting has no `from`."""

    id = name("kebab-case name", **NEEDED)
    title = text("the guideline's own term", 120, **NEEDED)
    from_ = part(PressureLimits, "reached when either pressure is at or above", data_key="from")


class Categories(Block):
    """Categories by setting, lowest first."""

    office = Items(Part(CategoryBlock), 20, **about("in the office", **NEEDED))
    home = Items(Part(CategoryBlock), 20, **about("at home", **NEEDED))


class ProfileBlock(Block):
    """What guidelines and protocols both say of themselves."""

    id = name("kebab-case name", **NEEDED)
    title = text("what it is", 200, **NEEDED)
    body = text("who published it", 200, **NEEDED)
    year = count("year of publication", "a", 1900, 2200, **NEEDED)
    status = choice(("current", "superseded"), "whether the body still stands by it", **NEEDED)
    sources = SOURCES


class GuidelineBlock(ProfileBlock):
    """A guideline: limits and categories."""

    short_name = text("body and year, as it is cited in a sentence", 40, **NEEDED)
    adults_from_years = number("age from which it classifies", "a", 0, 130, **NEEDED)
    in_pregnancy = text("guideline whose limits hold in pregnancy, and after birth", **NEEDED)
    after_birth_days = count("days after birth on which those limits still hold", "d", 0, 400, **NEEDED)
    protocol = text("protocol used where none is asked for", **NEEDED)
    limits = part(LevelSet, "limits", **NEEDED)
    categories = part(Categories, "categories", **NEEDED)
    targets = Items(Part(TargetBlock), 20, **about("targets of treatment, by age"))
    correspondence = Items(Anything(), 20, **about("published rows of corresponding values by setting"))


class Hours(Block):
    """A part of the day by the local clock."""

    from_hour = number("from this hour", "h", 0, 24, **NEEDED)
    before_hour = number("before this hour", "h", 0, 24, **NEEDED)


class HomeSchedule(Block):
    """How to measure at home."""

    days = count("days to measure", "d", 1, 60, **NEEDED)
    minimum_days = count("fewest days, before discarding", "d", 1, 60, **NEEDED)
    minimum_recorded = count("fewest readings, before discarding", "1", 0, 500, **NEEDED)
    minimum_kept = count("fewest readings, after discarding", "1", 0, 500, **NEEDED)
    sittings_per_day = count("sittings a day", "1", 1, 10, **NEEDED)
    readings_per_sitting = count("readings a sitting", "1", 1, 10, **NEEDED)
    spacing_minutes = number("pause between readings", "min", 0, 30, **NEEDED)
    rest_minutes = number("rest before the first reading", "min", 0, 60, **NEEDED)
    discard_first_days = count("days discarded", "d", 0, 10, **NEEDED)
    discard_first_readings = count("readings discarded of each sitting", "1", 0, 5, **NEEDED)
    more_days_at_most = count("days looked ahead for how many more would do", "d", 0, 60, **NEEDED)


class OfficeSchedule(Block):
    """How to measure in the office."""

    minimum_readings = count("fewest readings", "1", 1, 20, **NEEDED)
    minimum_days = count("fewest occasions", "d", 1, 20, **NEEDED)
    use = choice(OFFICE_USES, "which readings of a sitting are averaged", **NEEDED)


class AccuracyStandard(Block):
    """Criteria 1 and 2 of the accuracy standard, where a check has many people."""

    largest_mean = number("largest mean error", MMHG, 0, 50, **NEEDED)
    largest_sd = number("largest standard deviation of single errors (criterion 1)", MMHG, 0, 50, **NEEDED)
    tolerance = number("error a person's mean may have (criterion 2)", MMHG, 1, 50, **NEEDED)
    share = number("share of people's means within the tolerance (criterion 2)", "1", 0.5, 0.999, **NEEDED)
    people = number("fewest people", "1", 2, 1000, **NEEDED)
    pairs = number("fewest pairs", "1", 2, 3000, **NEEDED)


class AmbulatorySchedule(Block):
    """What counts as day and night where it was not recorded who was asleep, and how many readings each needs."""

    day = part(Hours, "the day, by the clock", **NEEDED)
    night = part(Hours, "the night, by the clock", **NEEDED)
    minimum_day_readings = count("fewest readings of the day", "1", 1, 200, **NEEDED)
    minimum_night_readings = count("fewest readings of the night", "1", 1, 200, **NEEDED)


class StepwiseCheck(Block):
    """The check in steps: first reference against the reading of the device before it, then against those around it."""

    order = Items(Choice(CHECKED_BY, exact=True), 20, 3, **about("who takes each reading in turn", **NEEDED))
    usable_within = number("first systolic difference at which the device is usable", MMHG, 0, 50, **NEEDED)
    doubtful_within = number("first systolic difference at which one goes on to the second", MMHG, 0, 50, **NEEDED)
    mean_within = number("second systolic difference at which the device is usable", MMHG, 0, 50, **NEEDED)
    sd_of_readings = number("how far two readings minutes apart differ by chance, systolic, standard deviation", MMHG, 0.1,
                            50, **NEEDED)  # fmt: skip


class DeviceSchedule(Block):
    """How a person's device is held against a reference."""

    largest_bias = number("mean difference that still counts as agreeing", MMHG, 0, 50, **NEEDED)
    minimum_pairs = number("fewest independent comparisons that may show agreement", "1", 2, 100, **NEEDED)
    standard = part(AccuracyStandard, "the accuracy standard", **NEEDED)
    procedure = part(StepwiseCheck, "the check in steps", **NEEDED)


class ProtocolBlock(ProfileBlock):
    """An averaging protocol."""

    sitting_gap_minutes = number("readings closer than this are one sitting", "min", 1, 240, **NEEDED)
    morning = part(Hours, "the morning", **NEEDED)
    evening = part(Hours, "the evening", **NEEDED)
    home = part(HomeSchedule, "at home", **NEEDED)
    office = part(OfficeSchedule, "in the office", **NEEDED)
    ambulatory = part(AmbulatorySchedule, "ambulatory measurement", **NEEDED)
    device_check = part(DeviceSchedule, "device against reference", **NEEDED)


def _units(block: Schema, prefix: str) -> Iterator[tuple[str, str]]:
    for attribute, field in block.fields.items():
        key = f"{prefix}{field.data_key or attribute}"
        if isinstance(field, Part):
            yield from _units(field.schema, f"{key}.")
        elif isinstance(field, Number):
            yield key, field.metadata["unit"]


# By the name that conditions have for a limit, its unit.
UNITS_OF_LIMITS = dict(chain(
    _units(LevelSet(), ""),
    (pair for pair in _units(GuidelineBlock(), "") if "." not in pair[0]),
    _units(ProtocolBlock(), "protocol."),
))  # fmt: skip
