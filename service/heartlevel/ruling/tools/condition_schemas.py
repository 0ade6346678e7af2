"""The JSON Schema of conditions: each fact with the operators its kind allows and the values it can have."""

from math import isfinite
from typing import Any, TypeAlias

from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.conditions import GROUPS, OPERATORS, ORDERED

JsonSchema: TypeAlias = dict[str, Any]
SENTENCE_BEGINS = r"^([^{}]|\{\{|\}\}|\{("  # of the pattern of sentences: names of facts come next
FINDING = {"type": "string", "minLength": 1, "description": "id of another rule of this scope: true where that rule fires"}


def condition_schema(facts: list[Fact], itself: str) -> JsonSchema:
    """Return what a condition may be; `itself` refers to this schema."""
    words = {"all": "true where every part is", "any": "true where some part is", "none": "true where no part is"}
    parts = {"type": "array", "minItems": 1, "items": {"$ref": itself}}
    return {
        "description": "One key: all, any, none, finding, or a fact.",
        "type": "object",
        "minProperties": 1,
        "maxProperties": 1,
        "additionalProperties": False,
        "properties": {
            **{group: {"description": words[group], **parts} for group in GROUPS},
            "finding": dict(FINDING),  # each scope has rules of its own
            **{fact.name: {"$ref": f"#/$defs/compared-{fact.name}"} for fact in facts},
        },
    }


def comparison_schema(fact: Fact) -> JsonSchema:
    """Return what a fact may be compared with: an operator its kind allows, and values it can have."""
    value = {"$ref": f"#/$defs/value-{fact.name}"}
    special = {
        "known": {"type": "boolean"},
        "one_of": {"type": "array", "minItems": 1, "items": value},
        "between": {"type": "array", "minItems": 2, "maxItems": 2, "items": value},
    }
    allowed = [operator for operator in OPERATORS if fact.kind == "number" or operator not in ORDERED]
    return {
        "description": meaning_with_unit(fact),
        "type": "object",
        "minProperties": 1,
        "maxProperties": 1,
        "additionalProperties": False,
        "properties": {operator: special.get(operator, value) for operator in allowed},
    }


def value_compared(fact: Fact) -> JsonSchema:
    """Return what a fact's value, or a limit or parameter in its stead, may be."""
    value = value_schema(fact)
    if fact.kind != "number":
        return value
    value |= {"minimum": fact.low} if isfinite(fact.low) else {}
    most = 1 if fact.share else fact.high
    value |= {"maximum": most} if isfinite(most) else {}
    return {"anyOf": [value, {"$ref": "#/$defs/limit"}, {"$ref": "#/$defs/param"}]}


def value_schema(fact: Fact) -> JsonSchema:
    """Return the values that a fact can have."""
    if fact.kind == "choice":
        return {"enum": list(fact.names)}
    return {"type": "number" if fact.kind == "number" else "boolean"}


def given_schema(fact: Fact) -> JsonSchema:
    """Return what an example may give of a fact."""
    return {"description": meaning_with_unit(fact), **or_null(value_schema(fact))}


def or_null(value: JsonSchema) -> JsonSchema:
    """Allow null, which is unknown, too."""
    return {"enum": [*value["enum"], None]} if "enum" in value else {"type": [value["type"], "null"]}


def meaning_with_unit(fact: Fact) -> str:
    """Say what a fact is, and its unit."""
    return fact.meaning if fact.unit in (None, "1") else f"{fact.meaning}, {fact.unit}"
