"""The answer with less in it, as `options.detail` asks: in brief, and its conclusion alone."""

from marshmallow import fields, validate

from contract.compared import OtherGuidelineSchema
from contract.conclusion import ConclusionSchema
from contract.declaring import (
    ClosedSchema,
    a_choice,
    a_field,
    a_flag,
    a_list,
    a_list_of_names,
    a_number,
    a_text,
    an_object,
)
from contract.figures import DifferencesSchema
from contract.followup import ChangeSinceSchema, TargetReachedSchema
from contract.made_with import MadeWithSchema
from contract.sides import SideReasonSchema, SideSchema, UnfitSideSchema
from contract.urgency import UrgencySchema
from contract.whole import (
    CountedSchema,
    CountsSchema,
    FindingTitledSchema,
    NamedSubjectSchema,
    NextSchema,
    NextStepSchema,
    ProblemNamedSchema,
)
from heartlevel.conclusions.sureness import NO_PROBABILITY
from heartlevel.vocabulary import (
    CONCLUSION_ALONE,
    IN_BRIEF,
    MEASURED_SIDES,
    PATTERNS,
    SURENESSES,
    UNDETERMINED,
    URGENCY_LEVELS,
)

LABELS = (*PATTERNS, UNDETERMINED)


class SentencesSchema(ClosedSchema):
    """What it comes to, what is urgent first."""

    clinician = a_list_of_names("to the clinician")
    patient = a_list_of_names("to the person measured")


class UrgencyLevelSchema(ClosedSchema):
    """How urgent; the words for it stand first in the conclusion."""

    level = a_choice(URGENCY_LEVELS, "how soon help is wanted")


class CategoryAloneSchema(ClosedSchema):
    """The category and how sure it is."""

    guideline = a_text("guideline whose categories these are")
    category = a_text("id of the category", nullable=True)
    reason = a_text("why there is no category", required=False)
    title = a_text("the guideline's own term", required=False, nullable=True)
    sureness = a_choice(SURENESSES, "how sure the category is", required=False)
    certainty = a_number("how certain, as in the whole answer", unit="1", required=False, nullable=True)
    no_probability = a_choice(NO_PROBABILITY[1:], "why there is no probability", required=False)


class CategoryInBriefSchema(CategoryAloneSchema):
    """The category, of what it is, and how sure it is."""

    side = a_choice(MEASURED_SIDES, "which side was classified", required=False)
    systolic = a_number("systolic average", required=False)
    diastolic = a_number("diastolic average", required=False)
    raised = a_flag("at or above the guideline's limit of hypertension, either pressure", required=False)
    category_probability = a_field(
        fields.Dict, "probability that the long-run mean lies in a category, by its id; null where that cannot be told",
        keys=fields.String(), values=fields.Float(), required=False, nullable=True, unit="1",
    )  # fmt: skip
    even_so = a_list(
        fields.Nested(SideReasonSchema), "what speaks against the side and leaves what it says", required=False
    )
    holds = a_flag("no other selection of readings changes the category, and it is at least probable", required=False)
    would_change = a_text("what would change the category, in words", required=False, nullable=True)


class PatternAloneSchema(ClosedSchema):
    """Home against office, and how sure that is."""

    label = a_choice(LABELS, "the pattern that the averages show, where both sides may speak")
    settled = a_choice(LABELS, "the same where it is at least probable, else undetermined")
    sureness = a_choice(SURENESSES, "how sure the label is")


class PatternInBriefSchema(PatternAloneSchema):
    """Home against office, between which sides, and how sure that is."""

    office = a_text("category in the office", nullable=True)
    home = a_text("category at home", nullable=True)
    because = a_list_of_names("ids of the findings that decided it")
    between = a_list(a_choice(MEASURED_SIDES, "a side"), "the sides compared; null where one may not speak", nullable=True)
    unfit = a_list(fields.Nested(UnfitSideSchema), "sides that keep a pattern from being named, and why")
    office_minus_home = an_object(DifferencesSchema, "the difference")
    no_chances = a_text("why there are no probabilities", required=False)


class RulesNamedSchema(ClosedSchema):
    """The rule set an answer was made with."""

    revision = a_text("its revision")
    fingerprint = a_text("hash of the content, layers included")


class MadeByRulesSchema(ClosedSchema):
    """What gave this answer."""

    rules = an_object(RulesNamedSchema, "the rule set")
    protocol = a_text("averaging protocol")
    as_of = a_text("date of the assessment, as given", nullable=True)


class NotRecordedSchema(ClosedSchema):
    """Details that were not recorded and that rules needed, those of as many readings together."""

    share = a_number("share of the readings concerned, from 0 to 1", unit="1")
    items = a_list_of_names("the facts")


class ConclusionAnswerSchema(ClosedSchema):
    """The answer where `options.detail` is `conclusion`: what it comes to, how sure, and how urgent. Not a diagnosis."""

    detail = a_field(fields.String, "which level this is", validate=validate.Equal(CONCLUSION_ALONE))
    subject = an_object(NamedSubjectSchema, "whom it is about")
    urgent = a_flag("`urgency.level` is now, same-day, cannot-be-told or within-days")
    conclusion = an_object(SentencesSchema, "what it comes to, in up to three sentences")
    urgency = an_object(UrgencyLevelSchema, "how urgent")
    counts = an_object(CountedSchema, "how many readings there were")
    classification = an_object(CategoryAloneSchema, "category by the guideline")
    pattern = an_object(PatternAloneSchema, "home against office")
    made_with = an_object(MadeByRulesSchema, "what gave this answer")
    problems = a_list(fields.Nested(ProblemNamedSchema), "what could not be read, and so counts as not recorded")
    cautions = a_list_of_names("said with every answer")


class BriefAnswerSchema(ClosedSchema):
    """The answer where `options.detail` is `brief`: no reading by itself, findings by title. Not a diagnosis."""

    detail = a_field(fields.String, "which level this is", validate=validate.Equal(IN_BRIEF))
    subject = an_object(NamedSubjectSchema, "whom it is about")
    conclusion = an_object(ConclusionSchema, "what it comes to, in up to three sentences")
    made_with = an_object(MadeWithSchema, "what gave this answer")
    urgent = a_flag("`urgency.level` is now, same-day, cannot-be-told or within-days")
    urgency = an_object(UrgencySchema, "how urgent, and since when")
    counts = an_object(CountsSchema, "how many readings there were")
    reliability = a_field(
        fields.Dict, "how many readings are of each reliability", keys=fields.String(), values=fields.Integer()
    )
    findings = a_list(fields.Nested(FindingTitledSchema), "urgent ones first, then by severity")
    undocumented = a_list(fields.Nested(NotRecordedSchema), "details not recorded that rules needed, most wanted first")
    classification = an_object(CategoryInBriefSchema, "category by the guideline")
    pattern = an_object(PatternInBriefSchema, "home against office")
    sides = a_list(fields.Nested(SideSchema), "each way of measuring of which there are readings")
    target = an_object(TargetReachedSchema, "whether the target of treatment is attained; null without one", nullable=True)
    change = an_object(
        ChangeSinceSchema, "the latest period against the one before; null where there is one", nullable=True
    )
    next_steps = a_list(fields.Nested(NextStepSchema), "what to do next, most important first")
    what_next = an_object(NextSchema, "what to measure next, to be surer")
    other_guidelines = a_list(fields.Nested(OtherGuidelineSchema), "as asked for by `options.also_under`")
    problems = a_list(fields.Nested(ProblemNamedSchema), "what could not be read, and so counts as not recorded")
    cautions = a_list_of_names("said with every answer")
