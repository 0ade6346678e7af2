"""The request, declared once: fields, units, limits, meaning. Checks, facts and contract are made from it."""

from heartlevel.intake.blocks.checks import DeviceCheck
from heartlevel.intake.blocks.periods import PeriodBlock
from heartlevel.intake.blocks.targets import TargetAskedBlock
from heartlevel.intake.fields import (
    Anything,
    Block,
    Choice,
    Clock,
    Day,
    Items,
    Part,
    Text,
    about,
    choice,
    day,
    flag,
    number,
    part,
    text,
)
from heartlevel.vocabulary import (
    ARM_LEVELS,
    BODY_POSITIONS,
    CIRCUMSTANCES,
    CUFF_SHAPES,
    DETAILS_WRITTEN,
    EXPLANATIONS,
    HIGHEST_READABLE,
    INFLATIONS,
    METHODS,
    MMHG,
    PLACEMENTS,
    SIDES,
    SITES,
    SYMPTOMS,
    TAKEN_BY,
    TAKEN_IN,
    UNITS,
)  # fmt: skip

CM, MINUTES, PER_MINUTE = "cm", "min", "/min"


class Circumference(Block):
    """Mid-upper-arm circumference of each arm."""

    left = number("of the left arm", CM, 5, 100)
    right = number("of the right arm", CM, 5, 100)


class Symptom(Block):
    """A complaint, and the day it was there."""

    symptom = choice(SYMPTOMS, "what was complained of", required=True)
    on = day("the day it was there; any day where absent")


class Subject(Block):
    """The person whose pressure was taken. Only `id` is required."""

    id = text("the caller's name for the person; never logged", required=True)
    age_years = number("age in completed years", "a", 0, 130, fact="age_years")
    pregnant = flag("pregnant at the time of the readings", fact="pregnant")
    days_since_birth = number("days since giving birth, at the time of the readings; absent for who has not", "d", 0, 400,
                              fact="days_since_birth")  # fmt: skip
    on_treatment = flag("takes medicine that lowers blood pressure", fact="on_treatment")
    treatment_since = day("the present treatment for blood pressure began")
    treatment_changes = Items(Day(10), 50, **about(
        "dates on which treatment for blood pressure changed, YYYY-MM-DD; readings before and from such a date on are "
        "judged apart"))  # fmt: skip
    symptoms = Items(Part(Symptom), 50, **about("complaints in the days of the readings; an empty list is none"))
    usual_waking = Clock(8, **about("time of day at which the person usually wakes, HH:MM; who works at night has another"))
    usual_sleep = Clock(8, **about("time of day at which the person usually falls asleep, HH:MM"))
    fainting = flag("has fainted, or nearly, in the days of the readings", fact="fainting")
    frail = flag("known to be frail", fact="frail")
    irregular_pulse_known = flag("an irregular pulse is known", fact="irregular_pulse_known")
    arm_circumference_cm = part(Circumference, "mid-upper-arm circumference, midway between shoulder and elbow")
    wrist_circumference_cm = number("circumference of the wrist", CM, 5, 50, fact="wrist_circumference_cm")
    arm_tapered = flag("the upper arm is clearly wider at the top than at the elbow", fact="arm_tapered")
    avoid_arms = Items(Choice(SIDES), 2, **about("arms no pressure should be taken on"))


class Cuff(Block):
    """The cuff used with a device."""

    arm_min_cm = number("smallest limb circumference printed on the cuff", CM, 5, 100, fact="cuff_arm_min_cm")
    arm_max_cm = number("largest limb circumference printed on the cuff", CM, 5, 100, fact="cuff_arm_max_cm")
    bladder_width_cm = number("width of the bladder", CM, 1, 50, fact="cuff_bladder_width_cm")
    bladder_length_cm = number("length of the bladder", CM, 1, 100, fact="cuff_bladder_length_cm")
    shape = choice(CUFF_SHAPES, "cylindrical or conical wrap", fact="cuff_shape")


class MeasuringRange(Block):
    """The pressures a device claims to measure."""

    low = number("lowest pressure", MMHG, 0, HIGHEST_READABLE, fact="device_range_low")
    high = number("highest pressure", MMHG, 0, HIGHEST_READABLE, fact="device_range_high")


class Device(Block):
    """A device readings were taken with."""

    id = text("the caller's name for the device", required=True)
    method = choice(METHODS, "how it finds the pressure", fact="method")
    placement = choice(PLACEMENTS, "where it is worn", fact="device_placement")
    inflation = choice(INFLATIONS, "who inflates the cuff", fact="inflation")
    cuff = part(Cuff, "the cuff used with it")
    measuring_range = part(MeasuringRange, "the pressures it claims to measure")
    independently_validated = flag("passed an independent validation", fact="independently_validated")
    checked_on = day("date of its last check against another device")


class Technique(Block):
    """How the reading was taken. Absent or null is unknown, never false."""

    body_position = choice(BODY_POSITIONS, "position of the body", fact="body_position")
    back_supported = flag("the back rested against something", fact="back_supported")
    feet_flat = flag("both feet flat on the floor", fact="feet_flat")
    legs_crossed = flag("the legs were crossed", fact="legs_crossed")
    arm_supported = flag("the arm rested on a support", fact="arm_supported")
    arm_relaxed = flag("the muscles of the arm and hand were relaxed", fact="arm_relaxed")
    arm_height_cm = number("middle of the cuff relative to the heart; above is positive", CM, -80, 80,
                           fact="arm_height_cm")  # fmt: skip
    arm_level = choice(ARM_LEVELS, "level of the cuff, for who has no ruler", fact="arm_level")
    rested_minutes = number("quiet rest before the reading", MINUTES, 0, 600, fact="rested_minutes")
    talking = flag("the person talked during the reading", fact="talking")
    full_bladder = flag("the urinary bladder was full", fact="full_bladder")
    bare_arm = flag("the cuff lay on bare skin", fact="bare_arm")
    cuff_mark_in_range = flag("the cuff's index mark closed inside its range mark", fact="cuff_mark_in_range")
    cuff_mark_over_artery = flag("the artery mark lay over the artery", fact="cuff_mark_over_artery")
    fingers_under_top_edge = number("fingers that fit under the upper edge", "1", 0, 10,
                                    fact="fingers_under_top_edge")  # fmt: skip
    fingers_under_bottom_edge = number("fingers that fit under the lower edge", "1", 0, 10,
                                       fact="fingers_under_bottom_edge")  # fmt: skip
    pumped_by_measured_arm = flag("the hand of the measured arm pumped the bulb", fact="pumped_by_measured_arm")
    wrist_held_by_other_hand = flag("the other hand held the wrist device at heart level",
                                    fact="wrist_held_by_other_hand")  # fmt: skip
    minutes_since_exercise = number("since exercise", MINUTES, 0, 1440, fact="minutes_since_exercise")
    minutes_since_caffeine = number("since caffeine", MINUTES, 0, 1440, fact="minutes_since_caffeine")
    minutes_since_nicotine = number("since nicotine", MINUTES, 0, 1440, fact="minutes_since_nicotine")


class DeviceStatus(Block):
    """What the device itself reported with the reading."""

    body_movement = flag("movement during the measurement", fact="status_body_movement")
    cuff_loose = flag("cuff too loose", fact="status_cuff_loose")
    irregular_pulse = flag("irregular pulse detected", fact="status_irregular_pulse")
    pulse_out_of_range = flag("pulse rate outside the device's limits", fact="status_pulse_out_of_range")
    position_improper = flag("improper measuring position", fact="status_position_improper")


class Reading(Block):
    """One blood-pressure reading. Required: `setting`, and `taken_at`, `systolic`, `diastolic` or a `payload`."""

    id = text("the caller's name for the reading; made from `taken_at` where absent")
    taken_at = text("time with offset, ISO 8601; without offset only where options.time_zone is given", 40,
                    required=True)  # fmt: skip
    systolic = number("systolic pressure", MMHG, 1, HIGHEST_READABLE, fact="systolic", required=True)
    diastolic = number("diastolic pressure", MMHG, 0, HIGHEST_READABLE, fact="diastolic", required=True)
    pulse = number("pulse rate", PER_MINUTE, 10, 400, fact="pulse")
    unit = choice(UNITS, "UCUM unit of the pressures; mm[Hg] where absent")
    setting = choice(TAKEN_IN, "where it was taken", fact="setting", required=True)
    taken_by = choice(TAKEN_BY, "who took it", fact="taken_by")
    hours_since_medicine = number("since medicine that lowers blood pressure was last taken; only recorded", "h", 0, 720,
                                  fact="hours_since_medicine")  # fmt: skip
    hours_since_dialysis = number("since the last dialysis; only recorded", "h", 0, 720, fact="hours_since_dialysis")
    observed = flag("staff watched the person measure as at home, and `technique` says what they saw", fact="observed")
    period = text("name of the period it belongs to, whatever its date; readings of one name are averaged together")
    device = text("id of one of the request's devices")
    site = choice(SITES, "limb and place of the cuff", fact="site")
    selected_from = number("how many readings this one was chosen from; 1 if none was thrown away", "1", 1, 100,
                           fact="selected_from")  # fmt: skip
    circumstances = Items(Choice(CIRCUMSTANCES), 20, **about("what kind of moment it was"))
    symptoms = Items(Choice(SYMPTOMS), 20, partly=True, **about("complaints at the time; an empty list is none"))
    asleep = flag("the person was asleep; for ambulatory readings", fact="asleep")
    technique = part(Technique, "how it was taken")
    device_status = part(DeviceStatus, "what the device reported")
    payload = text(
        "bytes of a Bluetooth Blood Pressure Measurement (0x2A35), hexadecimal or base64, in the place of pressures, "
        "pulse, unit, status and time; a `taken_at` beside it counts before the device's", 200)  # fmt: skip
    payload_feature = text(
        "bytes of the device's Blood Pressure Feature (0x2A49), without which it is unknown whether a bit of the status "
        "that is not set means no", 200)  # fmt: skip


class MeanAndSpread(Block):
    """One long-run pressure among people."""

    mean = number("mean of the people's own means", MMHG, 30, 300, required=True)
    sd = number("standard deviation between people", MMHG, 1, 100, required=True)


class PopulationBlock(Block):
    """The people the person is one of: their own long-run home pressures, taken as normal."""

    systolic = part(MeanAndSpread, "systolic", required=True)
    diastolic = part(MeanAndSpread, "diastolic", required=True)
    correlation = number("correlation of systolic with diastolic between people", "1", -0.95, 0.95, required=True)


class Options(Block):
    """How to judge. Everything is optional and has a default that the answer states."""

    guideline = text("id of a guideline; the rule set's default where absent")
    protocol = text("id of an averaging protocol; the guideline's where absent")
    also_under = Items(Text(), 20, **about(
        "ids of other guidelines to judge by too, each by its own protocol or the one asked for"))  # fmt: skip
    time_zone = text("IANA name; days and hours are counted in it")
    as_of = day("date of the assessment; nothing is taken from a clock")
    population = part(PopulationBlock, "taken as known beforehand by probabilities of the home average; by nothing else")
    target = part(TargetAskedBlock, "target of treatment; the guideline's where absent")
    language = text("language of the wording; `en` where absent", 8)
    strict = flag("refuse the whole request if anything in it is at fault")
    explain = choice(EXPLANATIONS, "how much is explained")
    detail = choice(DETAILS_WRITTEN, "how much of an assessment is written; `full` where absent")


class Envelope(Block):
    """The outermost object: a subject and readings. The lists are read item by item."""

    subject = part(Subject, "the person", required=True)
    devices = Anything(**about("devices used"))
    readings = Anything(**about("the readings", required=True))
    device_checks = Anything(**about("devices checked against a reference"))
    periods = Anything(**about("stretches of time whose readings are averaged apart; the latest is concluded on"))
    options = part(Options, "how to judge")


# The envelope's lists are read item by item: one bad item does not lose the others.
LISTS: dict[str, type[Block]] = {"devices": Device, "readings": Reading, "device_checks": DeviceCheck,
                                "periods": PeriodBlock}  # fmt: skip
# Without these an item says nothing; a fault anywhere else in it only makes that detail unknown.
ESSENTIAL = {
    "devices": ("id",),
    "readings": ("taken_at", "systolic", "diastolic", "setting", "unit", "payload"),
    "device_checks": ("device", "pairs", "sequence"),
    "periods": ("name", "from", "to"),
}
# Exactly one of these is to be given.
ONE_OF = {"device_checks": ("pairs", "sequence")}
