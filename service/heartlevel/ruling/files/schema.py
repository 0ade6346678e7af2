"""What rule files may hold, declared once: rules, wording, layers; profiles are in `profile_schema`."""

from typing import Any

from heartlevel.intake.fields import (
    Anything,
    Block,
    Choice,
    Items,
    Number,
    Part,
    Text,
    about,
    part,
    text,
)
from heartlevel.ruling.files.fields import choice, flag, name, number
from heartlevel.vocabulary import (
    CONSEQUENCES,
    DIRECTIONS,
    EFFECTS,
    EPISODE_KINDS,
    MEASURED_SIDES,
    MMHG,
    PATTERNS,
    SCOPES,
    SEVERITIES,
    STANDINGS,
    TOLD_IN,
    URGENCY_LEVELS,
)

SENTENCES = 1200
NEEDED: dict[str, Any] = {"required": True}


class SourceBlock(Block):
    """Where a statement comes from, and how sure that is."""

    cite = text("author, title or body, year, table or section", 400, **NEEDED)
    standing = choice(STANDINGS, "published, published but quoted from memory, or common practice", **NEEDED)


SOURCES = Items(Part(SourceBlock), 20, least=1, **about("where it comes from", **NEEDED))


class ShiftBlock(Block):
    """How far off a reading may be: a published range, or a fact that is the amount itself."""

    reads = choice(DIRECTIONS, "the reading is too high, too low, or either", **NEEDED)
    range = Items(Number(-100, 100, exact=True), 2, **about("lowest and highest published effect, mm[Hg]"))
    amount = text("a fact in mm[Hg], shown with its value")


class ExpectedErrorBlock(Block):
    """Direction and size of the error a technique fault causes; never used to correct."""

    systolic = part(ShiftBlock, "of the systolic value")
    diastolic = part(ShiftBlock, "of the diastolic value")


class ConsequenceBlock(Block):
    """What a finding means for the sides of the comparison: home, the office, an ambulatory measurement."""

    does = choice(CONSEQUENCES, "takes the side away, shifts it by a known size, or makes it less sure", **NEEDED)
    sides = Items(Choice(MEASURED_SIDES, exact=True), 6, least=1, **about("which sides", **NEEDED))
    reads = text("high, low, either, or a fact that says which; it takes away only what leans on it", **NEEDED)
    share = number("of a side's averaged readings, from which on; for rules of readings and sittings", "1", 0, 1)


class ExampleBlock(Block):
    """Facts and what the rule must say of them."""

    given = Anything(**about("facts by name; what is absent is unknown", **NEEDED))
    findings = Items(Text(), 50, **about("other rules taken as firing; all others are silent"))
    guideline = text("guideline whose limits hold; the default where absent")
    protocol = text("protocol whose limits hold; the guideline's where absent")
    expect = choice(("fires", "silent", "unknown"), "the outcome", **NEEDED)


class RuleUrgencyBlock(Block):
    """What an urgent finding is, and how urgent where nothing more is known."""

    kind = choice(EPISODE_KINDS, "what it is an episode of", **NEEDED)
    level = choice(URGENCY_LEVELS, "how urgent", **NEEDED)
    in_maternity = choice(URGENCY_LEVELS, "how urgent in pregnancy and soon after birth, where otherwise")


class RuleBlock(Block):
    """One rule."""

    id = name("kebab-case name, never reused", **NEEDED)
    scope = choice(SCOPES, "what the rule is asked of", **NEEDED)
    parameters = Anything(**about("thresholds by name: {param: name} in `when`, and {param:name} in texts, shows them"))
    when = Anything(**about("the condition", **NEEDED))
    effect = choice(EFFECTS, "what a finding makes of the readings concerned", **NEEDED)
    severity = choice(SEVERITIES, "how much it matters", **NEEDED)
    urgent = flag("a value that may need help now")
    by_device = flag("what a device is the cause of: one finding for each device")
    urgency = part(RuleUrgencyBlock, "what an urgent finding is an episode of, and how urgent")
    field = text("request field at fault, for entry slips")
    pattern = choice(PATTERNS, "the home and office pattern this finding means")
    consequence = Items(Part(ConsequenceBlock), 6, **about("what it means for the sides that are compared"))
    told_in = choice(TOLD_IN, "the part of an answer that says it; it is no finding then")
    expected_error = part(ExpectedErrorBlock, "direction and published range of the error")
    usual_share = number("how often patients at home have the fault where nothing is recorded of it", "1", 0, 1)
    next_step = text("key of the wording's next steps")
    title = text("short noun phrase", 120, **NEEDED)
    explanation = text("to a clinician: what was found and why it matters", SENTENCES, **NEEDED)
    advice = text("what to do", SENTENCES, **NEEDED)
    sources = SOURCES
    examples = Items(Part(ExampleBlock), 60, **about("tests of the rule", **NEEDED))


class RuleTextsBlock(Block):
    """A rule's texts in one language; what is not given is as the rule itself says it."""

    title = text("short noun phrase", 120)
    explanation = text("to a clinician: what was found and why it matters", SENTENCES)
    advice = text("to a clinician: what to do", SENTENCES)
    patient = text("to the person measured: what was off and what to do, in plain words", SENTENCES)


class WordingBlock(Block):
    """The texts of one language."""

    language = text("language tag", 8, **NEEDED)
    next_steps = Anything(**about("key to text, most important first", **NEEDED))
    next_steps_for_patient = Anything(**about("the same key to what the person is told"))
    cautions = Items(Text(SENTENCES), 20, least=1, **about("said with every answer", **NEEDED))
    conclusion = Anything(**about("sentences of a conclusion: for `clinician` and `patient` by statement; and `words`"))
    summary = Anything(**about("words of the summary that the command writes, by key"))
    names = Anything(**about("words for values that sentences show: yes, no, not recorded, names of choices"))
    categories = Anything(**about("title of a guideline's category to what it is called in this language"))
    urgency = Anything(
        **about("how urgent an answer is: what to do by level, and the parts of the sentence before it, by key")
    )
    sureness = Anything(**about("how sure an answer is: sentences, and the parts they are made of, by key"))
    follow_up = Anything(**about("changes, targets and what is to be said with them: sentences by key"))
    pages = Anything(**about("words of the pages that are handed to the person measured, by key"))
    rules = Anything(**about("rule id to its texts in this language"))
    wants_reading = flag("a clinician who speaks the language has yet to read the texts")
    same_words = Items(Text(SENTENCES), 200, **about("texts that are truly the same as their originals"))
    made_from = Anything(**about("fingerprints of the originals, under the keys of the texts, by `rules translate`"))


class TooHighBlock(Block):
    """By how much both pressures are too high."""

    systolic = number("systolic excess", MMHG, 0, 50, **NEEDED)
    diastolic = number("diastolic excess", MMHG, 0, 50, **NEEDED)


class SpreadBlock(Block):
    """The spread of both pressures."""

    systolic = number("systolic spread", MMHG, 0, 50, **NEEDED)
    diastolic = number("diastolic spread", MMHG, 0, 50, **NEEDED)


# With two or fewer, people's variances have no mean, and a published spread says nothing of them.
FEWEST_DEGREES = 3
DEGREES = number("what the usual spread weighs beside the person's own, in degrees of freedom", "1", FEWEST_DEGREES, 100,
                 **NEEDED)  # fmt: skip
CORRELATED = number("correlation of systolic with diastolic", "1", -0.95, 0.95)


class UsualBlock(Block):
    """What is usual of home readings; probabilities and the long run are told by it, and no average is changed."""

    first_day = part(TooHighBlock, "a first day above later ones", **NEEDED)
    technique = part(TooHighBlock, "patients' readings above a trained person's, all faults together", **NEEDED)
    share_width = number("standard deviation of how often faults are there, as a share of it", "1", 0, 2)
    device = part(SpreadBlock, "standard deviation between devices that nobody checked")
    sd_between_days = part(SpreadBlock, "standard deviation of a person's days")
    degrees_of_freedom = number("its weight beside the person's own days, in degrees of freedom", "1", FEWEST_DEGREES, 100)
    day_correlation = number("correlation of one day with the next", "1", 0, 0.95)
    pressure_correlation = CORRELATED
    sd_between_weeks = part(SpreadBlock, "standard deviation of whole weeks around the long run")
    sources = SOURCES


class AboveHomeBlock(Block):
    """How far office pressures lie above those at home."""

    mean = part(TooHighBlock, "on average", **NEEDED)
    sd = part(SpreadBlock, "standard deviation between people", **NEEDED)


class VisitsBlock(Block):
    """What is usual of office visits; probabilities are told by it, and no average is changed."""

    sd_between_visits = part(SpreadBlock, "standard deviation of a person's visits", **NEEDED)
    degrees_of_freedom = DEGREES
    pressure_correlation = CORRELATED
    technique = part(TooHighBlock, "routine readings above standardised ones, all faults together")
    above_home = part(AboveHomeBlock, "how far a person's office pressure lies above the one at home")
    sources = SOURCES


class SessionsBlock(Block):
    """How ambulatory sessions of one person usually differ; probabilities are told by it."""

    sd_between_sessions = part(SpreadBlock, "standard deviation of a person's sessions", **NEEDED)
    degrees_of_freedom = DEGREES
    pressure_correlation = CORRELATED
    sources = SOURCES


class PatternSurenessBlock(Block):
    """From which probability on each pattern of home and office is called probable."""

    sustained = number("raised in both", "1", 0.5, 1, **NEEDED)
    office_only = number("raised in the office alone", "1", 0.5, 1, data_key="office-only-elevation", **NEEDED)
    home_only = number("raised at home alone", "1", 0.5, 1, data_key="home-only-elevation", **NEEDED)
    normal = number("raised in neither", "1", 0.5, 1, data_key="normal-in-both", **NEEDED)


class SurenessBlock(Block):
    """From which probability on something is called almost certain or probable; below, it cannot be told yet."""

    almost_certain = number("least probability of what is almost certain", "1", 0.5, 1, **NEEDED)
    probable = number("least probability of what is probable", "1", 0.5, 1, **NEEDED)
    probable_patterns = part(PatternSurenessBlock, "the same of patterns; without them, as of all else")
    unknown_error_share = number("share of readings with a fault of no published size, from which on nothing is told", "1",
                                 0.01, 1, **NEEDED)  # fmt: skip
    sources = SOURCES


class FaultSizesBlock(Block):
    """What a fault of which no size is published counts for in the order of next steps; nothing else rests on it."""

    doubtful = number("of a reading it makes doubtful", MMHG, 0, 100, **NEEDED)
    unusable = number("of a reading it makes unusable", MMHG, 0, 100, **NEEDED)
    sources = SOURCES


class RuleSetBlock(Block):
    """What the rule set calls itself, and what is usual."""

    name = text("name", **NEEDED)
    revision = text("raised with every change of content", **NEEDED)
    default_guideline = text("guideline used where none is asked for", **NEEDED)
    usual_at_home = part(UsualBlock, "by how much home readings are usually too high")
    usual_in_office = part(VisitsBlock, "how office visits usually differ")
    size_of_faults = part(FaultSizesBlock, "what faults of no published size count for in the order of next steps")
    usual_ambulatory = part(SessionsBlock, "how ambulatory sessions usually differ")
    sureness = part(SurenessBlock, "from which probability on something is called probable or almost certain")
