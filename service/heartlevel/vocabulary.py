"""Every enumeration of the contract, once: requests, facts, rules and documentation read them from here.

In columns a choice is its index in the tuple; the order of a tuple is part of no contract and may change between
versions.
"""

PRESSURES = ("systolic", "diastolic")
PRESSURE_NAMES = {  # how else they are called; common practice
    "systolic": ("sys", "syst", "systole", "sbp", "systolic pressure", "systolic blood pressure"),
    "diastolic": ("dia", "diast", "diastole", "dbp", "diastolic pressure", "diastolic blood pressure"),
}
PRESSURE_CODES = {"8480-6": "systolic", "8462-4": "diastolic"}  # LOINC's
TAKEN_IN = ("home", "office", "work", "pharmacy", "ambulatory")
# What is averaged by itself: where readings were taken, office readings with nobody in the room apart from the others.
SETTINGS = (*TAKEN_IN, "office-unattended")
# Ways of measuring that have limits of their own, in the order of an answer.
MEASURED_SIDES = ("home", "office-attended", "office-unattended", "ambulatory-24h", "ambulatory-day", "ambulatory-night")
CONSEQUENCES = ("excludes", "shifts", "weakens")
TRUE_PRESSURES = ("changing", "constant")
CHECKED_BY = ("device", "reference")
TAKEN_BY = ("self", "carer", "staff", "unattended")
SIDES = ("left", "right")
PLACEMENTS = ("upper-arm", "wrist", "forearm", "finger")
SITES = tuple(f"{side}-{placement}" for side in SIDES for placement in PLACEMENTS)
BODY_POSITIONS = ("sitting", "standing", "lying")
ARM_LEVELS = ("below", "heart", "above")
METHODS = ("oscillometric", "auscultatory")
INFLATIONS = ("automatic", "manual")
CUFF_SHAPES = ("cylindrical", "conical")
CIRCUMSTANCES = (
    "work-day", "free-day", "stress", "quiet", "pain", "unwell", "poor-sleep", "after-meal", "after-alcohol",
    "cold", "travel", "night-shift",
)  # fmt: skip
# Complaints with a reading or on a day; which of them weigh how much stands in `rules/urgency.yaml`.
SYMPTOMS = (
    "chest-pain", "breathlessness", "severe-headache", "headache", "dizziness", "confusion", "drowsiness",
    "weakness-or-numbness", "speech-difficulty", "vision-change", "back-pain", "upper-abdominal-pain", "vomiting", "nausea",
    "sudden-swelling", "little-urine", "fainting", "fall", "seizure", "cold-and-clammy-skin",
)  # fmt: skip

MMHG = "mm[Hg]"
KPA = "kPa"
UNITS = (MMHG, KPA)
# UCUM defines m[Hg] as 133.3220 kPa. The request's unit is a UCUM code, so UCUM's figure is used.
PASCAL_PER_MMHG = 133.322
MMHG_PER_KPA = 1000.0 / PASCAL_PER_MMHG
# A number above this is no blood pressure in any unit offered; what is merely impossible is for the rules.
HIGHEST_READABLE = 400.0

FACT_KINDS = ("number", "flag", "choice")
RECORDED_WITH = ("reading", "subject", "device")  # what facts of one's own are recorded of
SCOPES = ("reading", "sitting", "series", "device", "comparison")
EFFECTS = ("none", "doubtful", "unusable")
RELIABILITIES = ("sound", "not-documented", "doubtful", "unusable")
SEVERITIES = ("high", "moderate", "low")
STANDINGS = ("published", "published-from-memory", "common-practice")
DIRECTIONS = ("high", "low", "either")
PATTERNS = ("sustained", "office-only-elevation", "home-only-elevation", "normal-in-both")
UNDETERMINED = "undetermined"
TOLD_IN = ("classification", "pattern", "next-steps")  # parts of an answer that say what a rule found in place of a finding
LIMITS_UNCLEAR = "limits-unclear"  # why there is no category where a detail that decides the limits could not be read
SURENESSES = ("cannot-be-told", "probable", "almost-certain")
EPISODE_KINDS = ("high", "low", "symptoms", "unreadable", "other")
URGENCY_LEVELS = ("now", "same-day", "cannot-be-told", "within-days", "history", "none")  # the most urgent first
TARGET_COMPARATORS = ("below", "at-most")
# For whom a guideline's target may not hold.
TARGET_EXCEPTIONS = (
    "frail", "multimorbidity", "institutional-care", "limited-lifespan", "orthostatic-hypotension", "not-tolerated",
    "lower-if-tolerated", "high-risk", "diabetes",
)  # fmt: skip
EXPLANATIONS = ("brief", "full")
# How much of an answer is written.
CONCLUSION_ALONE, IN_BRIEF, IN_FULL = DETAILS_WRITTEN = ("conclusion", "brief", "full")
