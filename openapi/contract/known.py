"""Codes that answers bear, by what they are: taken from where the service and its rules have them, and where they stand.

Names of rule files are open: a clinic's layer adds its own. What the program itself says is closed.
"""

from collections.abc import Iterable, Mapping

from heartlevel.conclusions.category import MINIMUM_NOT_MET, NO_CATEGORY_REASONS, NONE_SOUND
from heartlevel.conclusions.sides import NO_LIMIT, NOT_MEASURED, TOO_FEW_READINGS
from heartlevel.conclusions.sureness import FEW_DAYS, NO_PROBABILITY, USUAL
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.faults import DETAILS
from heartlevel.ruling.effects.shared_errors import DEVICE_CHECK
from heartlevel.ruling.language.cures import CURES
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.vocabulary import URGENCY_LEVELS
from heartlevel.web.promises.kinds import KINDS

# Components, and the fields that hold such a code; a field may be a list of them.
OPEN = {
    "ProblemCode": ["ProblemNamed.code"],
    "RuleId": ["FindingGiven.rule", "Note.rule", "Habit.rule", "ConditionNode.rule", "ErrorExpected.because",
               "NextStep.rules", "ObservedBefore.amiss", "ObservedBefore.mended", "ObservedTechnique.not_seen"],
    "SideReasonCode": ["SideReason.code", "UnfitSide.codes", "PeriodSide.reasons"],
    "SharedErrorCode": ["ErrorInIt.code"],
    "NextStepCode": ["NextStep.code", "Gap.next_step"],
    "GuidelineId": ["MadeWith.guideline", "MadeWith.limits_from", "OtherGuideline.guideline", "OtherGuideline.limits_from",
                    "Classification.guideline", "TargetReached.guideline", "Options.guideline", "Options.also_under"],
    "ProtocolId": ["MadeWith.protocol", "OtherGuideline.protocol", "Options.protocol"],
    "CategoryId": ["Side.category", "PeriodSide.category", "Alternative.category", "Classification.category",
                   "OtherGuideline.category", "PatternFound.home", "PatternFound.office"],
    "LanguageTag": ["MadeWith.language", "Options.language"],
    "FactName": ["ConditionNode.fact", "FactChange.fact", "Undocumented.item", "Classification.sharpened_by"],
}  # fmt: skip
CLOSED = {
    "NoCategoryReason": ["Classification.reason"],
    "NoAlternativeReason": ["Alternative.reason"],
    "NoIntervalReason": ["Summary.no_interval"],
    "NoChancesReason": ["PatternFound.no_chances"],
    "RuleFaultCode": ["RuleFault.code"],
    "HowUrgentCode": ["Urgency.level", "Episode.level"],
    "ProblemType": ["Problem.type"],
}


def known_codes(rules: RuleSet) -> Mapping[str, list[str]]:
    """Return the codes of every kind, in the order of the alphabet."""
    every_rule = list(rules.every_rule())
    of_rules = [rule.id for rule in every_rule]
    sides = [side for guideline in rules.guidelines.values() for side in guideline.categories.values()]
    codes: dict[str, Iterable[str | None]] = {
        "ProblemCode": [*DETAILS, *(rule.id for rule in every_rule if rule.written.get("field"))],
        "RuleId": of_rules,
        "SideReasonCode": [*of_rules, NOT_MEASURED, TOO_FEW_READINGS, NO_LIMIT],
        "SharedErrorCode": [*of_rules, *USUAL, "device-check"],
        "NextStepCode": next(iter(rules.wording.values())).next_steps,
        "GuidelineId": rules.guidelines,
        "ProtocolId": rules.protocols,
        "CategoryId": [level.id for levels in sides for level in levels],
        "LanguageTag": rules.wording,
        "FactName": [*CATALOGUE, DEVICE_CHECK],
        "NoCategoryReason": NO_CATEGORY_REASONS,
        "NoAlternativeReason": (MINIMUM_NOT_MET, NONE_SOUND),
        "NoIntervalReason": (FEW_DAYS,),
        "NoChancesReason": (*NO_CATEGORY_REASONS, *NO_PROBABILITY),
        "RuleFaultCode": CURES,
        "HowUrgentCode": URGENCY_LEVELS,
        "ProblemType": [kind.uri for kind in KINDS.values()],
    }
    return {name: sorted({code for code in given if code is not None}) for name, given in codes.items()}
