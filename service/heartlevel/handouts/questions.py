"""The few questions of technique in a log: those whose answers matter most for the person."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from heartlevel.conclusions.steps import likely_size
from heartlevel.intake.fields import Choice, Flag
from heartlevel.ruling.language.conditions import Term
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet, Wording
from heartlevel.ruling.language.template import NO, YES
from heartlevel.tables.fields import TableField, fields_of

ASK = "ask-"  # begins the key of a question's text; the rest is the name of the field
ANSWER = "answer-"  # begins the key of an answer that has words of its own in a log
MOST_QUESTIONS = 4


@dataclass(frozen=True, slots=True)
class Question:
    """A question, the field that its answer fills, and the answers there are: as they are shown, and what they mean.

    Without any, a number is asked for.
    """

    field: TableField
    text: str
    answers: Mapping[str, str]


def questions_for(ruleset: RuleSet, language: str, answer: Mapping[str, Any] | None = None) -> list[Question]:
    """Return what to ask, the most important first.

    First what was done wrong, then what was not recorded, by the share of the readings of an answer times the likely size
    of the fault (mm[Hg]); then the larger faults. Without readings all counts as not recorded.
    """
    wording = ruleset.wording[language]
    fields = fields_of(ruleset.choices.form)
    asked = [
        fields[key.removeprefix(ASK)] for key in wording.pages if key.startswith(ASK) and key.removeprefix(ASK) in fields
    ]
    wrong, unrecorded = _shares(ruleset, answer)
    sizes = {field.name: _size(ruleset, field) for field in asked}

    def rank(field: TableField) -> tuple[float, float, float]:
        size, fact = sizes[field.name], _fact(field)
        return -size * wrong.get(fact, 0.0), -size * unrecorded.get(fact, 0.0), -size

    order = sorted(asked, key=rank)
    return [Question(field, wording.pages[ASK + field.name], _answers(field, wording)) for field in order[:MOST_QUESTIONS]]


def _shares(ruleset: RuleSet, answer: Mapping[str, Any] | None) -> tuple[dict[str, float], dict[str, float]]:
    """Return, by fact, in which share of the readings it was at fault, and in which it was not recorded."""
    readings = len(answer["readings"]) if answer else 0
    if answer is None or not readings:
        return {}, {fact: 1.0 for rule in ruleset.rules["reading"] for fact in _facts(rule)}
    wrong: dict[str, float] = {}
    rules = {rule.id: rule for rule in ruleset.rules["reading"]}
    for finding in answer["findings"]:
        for fact in _facts(rules[finding["rule"]]) if finding["rule"] in rules else ():
            wrong[fact] = wrong.get(fact, 0.0) + len(finding["readings"]) / readings
    return wrong, {gap["item"]: float(gap["share"]) for gap in answer["undocumented"]}


def _size(ruleset: RuleSet, field: TableField) -> float:
    """Return the likely size of the largest fault that an answer can show (mm[Hg])."""
    rules = (rule for rule in ruleset.rules["reading"] if _fact(field) in _facts(rule))
    return max((likely_size(rule, ruleset.size_of_faults) for rule in rules), default=0.0)


def _facts(rule: Rule) -> Iterator[str]:
    return (leaf.fact.name for leaf in rule.leaves if isinstance(leaf, Term))


def _fact(field: TableField) -> str:
    return str(field.declared.metadata.get("fact", ""))


def _answers(field: TableField, wording: Wording) -> dict[str, str]:
    """Return the answers of a question as its language has them, each with what stands for it in a table."""
    match field.declared:
        case Flag():
            return {wording.names.get(YES, YES): "true", wording.names.get(NO, NO): "false"}
        case Choice(names=names):
            return {
                wording.pages.get(ANSWER + name, wording.names.get(name, name.replace("-", " "))): name for name in names
            }
        case _:
            return {}


def _answer(name: str, wording: Wording) -> str:
    return wording.pages.get(ANSWER + name) or wording.names.get(name) or name.replace("-", " ")
