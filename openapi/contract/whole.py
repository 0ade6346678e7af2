"""The whole answer, declared."""

from marshmallow import fields

from contract.compared import OtherGuidelineSchema
from contract.conclusion import ConclusionSchema
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
    an_interval,
    an_object,
)
from contract.device_checks import DeviceCheckedSchema
from contract.figures import (
    AverageSchema,
    ClassificationSchema,
    CoverageSchema,
    PatternFoundSchema,
    UndocumentedSchema,
    VariabilitySchema,
)  # fmt: skip
from contract.followup import (
    ChangeSinceSchema,
    DeviceAverageSchema,
    DeviceDifferenceSchema,
    ObservedTechniqueSchema,
    PeriodJudgedSchema,
    RestingPulseSchema,
    TargetReachedSchema,
)
from contract.made_with import MadeWithSchema
from contract.sides import SideSchema
from contract.urgency import UrgencySchema
from heartlevel.conclusions.followup.devices import MOST_COMPARED
from heartlevel.conclusions.next_steps import GAPS, NO_DAYS
from heartlevel.ruling.language.conditions import OPERATORS
from heartlevel.ruling.language.explaining import KINDS, OUTCOMES
from heartlevel.vocabulary import (
    EFFECTS,
    RELIABILITIES,
    SCOPES,
    SEVERITIES,
    STANDINGS,
    TOLD_IN,
    URGENCY_LEVELS,
)  # fmt: skip

ERROR_DIRECTIONS = ("reads-high", "reads-low", "either")


class NamedSubjectSchema(ClosedSchema):
    """Whom the answer is about."""

    id = a_text("the caller's name for the person")


class CountedSchema(ClosedSchema):
    """How many readings there were."""

    received = a_count("readings sent: those assessed and those lost")
    assessed = a_count("readings in the answer")
    lost = a_count("readings that were sent and not assessed; exact copies of others among them")


class CountsSchema(CountedSchema):
    """The same of all readings, by setting, and why readings were lost."""

    by_setting = a_field(
        fields.Dict, "of each setting of which there are readings; `unknown` where it could not be read",
        keys=fields.String(), values=fields.Nested(CountedSchema),
    )  # fmt: skip
    lost_because = a_field(
        fields.Dict, "how many were lost for each code of `problems`; one reading may be lost for several",
        keys=fields.String(), values=fields.Integer(),
    )  # fmt: skip


class ErrorOfSchema(ClosedSchema):
    """Which way, and how far, a technique fault shifts a pressure."""

    direction = a_choice(ERROR_DIRECTIONS, "too high, too low, or either")
    range = an_interval("published range of the effect", required=False)
    amount = a_number("size of the effect in this reading", required=False, nullable=True)


class ErrorExpectedSchema(ClosedSchema):
    """What one technique fault is known to do. Never added up, never used to correct."""

    because = a_text("the rule")
    systolic = an_object(ErrorOfSchema, "of the systolic value", required=False)
    diastolic = an_object(ErrorOfSchema, "of the diastolic value", required=False)


class ReadingJudgedSchema(ClosedSchema):
    """One reading with its numbers unaltered."""

    id = a_text("the caller's name, or one made from its time")
    reliability = a_choice(RELIABILITIES, "what its technique makes of it")
    findings = a_list_of_names("ids of the findings that concern it")
    systolic = a_number("systolic pressure")
    diastolic = a_number("diastolic pressure")
    mean_arterial = a_number("diastolic plus a third of the pulse pressure")
    pulse_pressure = a_number("systolic minus diastolic")
    expected_errors = a_list(fields.Nested(ErrorExpectedSchema), "what its technique faults are known to do, one by one")


class SourceCitedSchema(ClosedSchema):
    """Where a statement comes from."""

    cite = a_text("author, title or body, year, place")
    standing = a_choice(STANDINGS, "published, published but quoted from memory, or common practice")


class ConditionNodeSchema(ClosedSchema):
    """A condition's outcome for one row: a comparison, parts combined by all, any or none, or another finding."""

    kind = a_choice(KINDS, "how it is made up")
    outcome = a_choice(OUTCOMES.values(), "what it comes to; unknown where something it needs is not recorded")
    parts = a_list(fields.Nested(lambda: ConditionNodeSchema()), "what it is made of; not in a comparison", required=False)
    rule = a_text("the rule whose finding is asked for", required=False)
    title = a_text("title of that rule", required=False)
    fact = a_text("what is compared", required=False)
    meaning = a_text("meaning of the fact", required=False)
    unit = a_text("UCUM unit of the fact", required=False, nullable=True)
    operator = a_choice(OPERATORS, "how it is compared", required=False)
    expected = a_field(fields.Raw, "a value, a named limit with its number, or two for between", required=False)
    value = a_field(fields.Raw, "the fact's value; null if not recorded", required=False, nullable=True)
    text = a_text("the comparison as a sentence", required=False)


class FactChangeSchema(ClosedSchema):
    """Another value of one fact. It tells how far the finding is from silence; it is no advice."""

    fact = a_text("the fact")
    unit = a_text("its UCUM unit", nullable=True)
    formula = a_text("how it is computed, where it is not recorded", required=False)
    from_ = a_field(fields.Raw, "its value; null if not recorded", data_key="from", attribute="from", nullable=True)
    to = a_field(fields.Dict, "operators with values; any value that satisfies all of them will do", keys=fields.String())
    text = a_text("the change in words")


class ReasonSchema(ClosedSchema):
    """Why the rule fired for the worst reading, sitting or device check that the finding concerns."""

    condition = an_object(ConditionNodeSchema, "the rule's condition")
    silenced_by = a_list(
        fields.Nested(FactChangeSchema),
        "fewest and smallest changes, made together, that would silence it, facts taken as free of each other and none for "
        "the worse: no fewer readings, no higher average, no other finding as grave; empty if none would, null if none was "
        "found in time",
        nullable=True,
    )


class FindingTitledSchema(ClosedSchema):
    """A finding by its title."""

    id = a_text("name within this answer")
    rule = a_text("the rule that found it")
    scope = a_choice(SCOPES, "what it was asked of")
    severity = a_choice(SEVERITIES, "how much it matters")
    urgent = a_flag("may need help now; never muted by technique, and false for what is long past")
    urgency = a_choice(URGENCY_LEVELS, "how urgent, of a rule that names what may be; else null", nullable=True)
    effect = a_choice(EFFECTS, "what it makes of the readings concerned")
    title = a_text("short noun phrase")
    count = a_count("readings concerned; of a series or device, how many such")
    days = a_count("days on which these readings were taken")


class FindingGivenSchema(FindingTitledSchema):
    """One thing found, explained and sourced."""

    explanation = a_text("what was found and why it matters")
    advice = a_text("what to do; never a change of medicine")
    patient = a_text("to the person measured, in plain words: what was off and what to do; never a change of medicine")
    readings = a_list_of_names("ids of the readings concerned")
    range = a_field(
        fields.Dict, "lowest and highest of the numbers that the explanation shows, where they differ", keys=fields.String()
    )
    devices = a_list(fields.String(), "ids of the devices concerned", required=False)
    facts = a_field(fields.Dict, "the facts it rests on, by name; of several those of the worst", keys=fields.String())
    sources = a_list(fields.Nested(SourceCitedSchema), "where it comes from")
    reason = an_object(ReasonSchema, "why it fired; only where `options.explain` is `full`", required=False)


class NoteSchema(ClosedSchema):
    """What a rule says that is nothing amiss: the level itself, or what is missing for a comparison."""

    rule = a_text("rule")
    told_in = a_choice(TOLD_IN, "the part of the answer that has the figures, or what to do")
    title = a_text("short noun phrase")
    explanation = a_text("to a clinician: what is the case")
    patient = a_text("to the person measured, in plain words")


class NextStepSchema(ClosedSchema):
    """Something to do next."""

    code = a_text("name of the step")
    text = a_text("what to do")
    patient = a_text("the same, to the person measured; null where it is for others to do", nullable=True)
    first = a_flag("one of those to begin with")
    because = a_list_of_names("ids of the findings behind it; none where a note says why")
    rules = a_list_of_names("ids of the rules that ask for it, those of notes among them")


class GapSchema(ClosedSchema):
    """Something not measured yet."""

    code = a_choice(GAPS, "what")
    next_step = a_text("code of the next step of this answer that asks for it; null if none does", nullable=True)
    text = a_text("what to do; null where the next step says it", nullable=True)


class NextSchema(ClosedSchema):
    """What to measure next, to be surer of the category at home."""

    sure_at = a_number("probability of the category that counts as sure", unit="1")
    more_days = a_field(
        fields.Integer,
        "the fewest more days, measured one after the other, after which being sure is at least as probable as not",
        nullable=True,
        unit="d",
    )
    chance = a_number("probability of being sure after so many", unit="1", nullable=True)
    chance_after = a_field(
        fields.Dict, "probability of being sure after 3, 7 and 14 more days; null where it cannot be told",
        keys=fields.String(), values=fields.Float(allow_none=True), unit="1",
    )  # fmt: skip
    no_more_days = a_choice(NO_DAYS, "why there is no such number", required=False)
    days_looked_ahead = a_count("the protocol's `more_days_at_most`")
    gaps = a_list(fields.Nested(GapSchema), "what is to be filled first, first")


class ProblemNamedSchema(ClosedSchema):
    """Something in the request that could not be read or is doubtful as entered."""

    pointer = a_text("JSON Pointer (RFC 6901) into the request, to the first place")
    code = a_text("kind of problem: the name to go by in a program, or for wording it otherwise")
    detail = a_text(
        "what was found, what was expected; in English whatever the language of the answer, and only where "
        "the code is a rule's in that language"
    )
    hint = a_text("the near match, or what to do; in the language of `detail`", nullable=True)
    places = a_list_of_names("pointers to all places where the same field is at fault in the same way")


class AnswerSchema(ClosedSchema):
    """The assessment of one subject. Not a diagnosis."""

    subject = an_object(NamedSubjectSchema, "whom it is about")
    conclusion = an_object(ConclusionSchema, "what it comes to, in up to three sentences")
    made_with = an_object(MadeWithSchema, "what gave this answer")
    urgent = a_flag("`urgency.level` is now, same-day, cannot-be-told or within-days")
    urgency = an_object(UrgencySchema, "how urgent, and since when")
    counts = an_object(CountsSchema, "how many readings there were")
    readings = a_list(fields.Nested(ReadingJudgedSchema), "every readable reading, in time order")
    findings = a_list(fields.Nested(FindingGivenSchema), "urgent ones first, then by severity")
    notes = a_list(fields.Nested(NoteSchema), "what rules say that is nothing amiss")
    averages = a_list(fields.Nested(AverageSchema), "averages by setting and selection")
    variability = an_object(VariabilitySchema, "variation between readings")
    coverage = an_object(CoverageSchema, "how home readings lie over days and hours")
    undocumented = a_list(fields.Nested(UndocumentedSchema), "details not recorded that rules needed, most wanted first")
    sides = a_list(fields.Nested(SideSchema), "each way of measuring of which there are readings")
    pattern = an_object(PatternFoundSchema, "home against office")
    classification = an_object(ClassificationSchema, "category by the guideline")
    other_guidelines = a_list(fields.Nested(OtherGuidelineSchema), "as asked for by `options.also_under`")
    periods = a_list(
        fields.Nested(PeriodJudgedSchema),
        "periods that readings fall into, the latest last, on which alone all else is concluded; empty where there is one",
    )
    devices = a_list(fields.Nested(DeviceAverageSchema), "what each of several devices measured; empty for one")
    device_differences = a_list(
        fields.Nested(DeviceDifferenceSchema),
        f"how far each two differ of the {MOST_COMPARED} on a side with most readings",
    )
    observed_technique = an_object(
        ObservedTechniqueSchema, "what staff saw of the technique; null for who was not observed", nullable=True
    )
    pulse = an_object(RestingPulseSchema, "the pulse at rest; null where none was recorded", nullable=True)
    target = an_object(
        TargetReachedSchema,
        "on treatment, or where a target was asked for: whether it is attained; else null",
        nullable=True,
    )
    change = an_object(
        ChangeSinceSchema,
        "the latest period against the one before; null where there is one",
        nullable=True,
    )
    device_checks = a_list(fields.Nested(DeviceCheckedSchema), "devices against references")
    next_steps = a_list(fields.Nested(NextStepSchema), "what to do next, most important first")
    what_next = an_object(NextSchema, "what to measure next, to be surer")
    problems = a_list(fields.Nested(ProblemNamedSchema), "what could not be read, and so counts as not recorded")
    cautions = a_list_of_names("said with every answer")


class DeviceChecksAnswerSchema(ClosedSchema):
    """Devices held against references, without the person's readings."""

    made_with = an_object(MadeWithSchema, "what gave this answer")
    device_checks = a_list(fields.Nested(DeviceCheckedSchema), "devices against references")
    findings = a_list(fields.Nested(FindingGivenSchema), "what was found about the devices")
    next_steps = a_list(fields.Nested(NextStepSchema), "what to do next, most important first")
    problems = a_list(fields.Nested(ProblemNamedSchema), "what could not be read")
    cautions = a_list_of_names("said with every answer")
