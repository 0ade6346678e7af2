"""Schemas with facts of one's own: of rule files, so that an editor completes them too, and of requests."""

from collections.abc import Sequence
from copy import deepcopy
from functools import lru_cache
from math import isfinite

import orjson

from heartlevel.facts.catalogue import VISIBLE, Fact
from heartlevel.intake.own.facts import OwnFact
from heartlevel.intake.texts.otherwise import also_read
from heartlevel.resources import shipped
from heartlevel.ruling.tools.condition_schemas import (
    SENTENCE_BEGINS,
    JsonSchema,
    comparison_schema,
    given_schema,
    value_compared,
)
from heartlevel.vocabulary import MMHG

OBJECTS = {"reading": "Technique", "subject": "Subject", "device": "Device"}  # of a request, by what is recorded


def rule_files_with(schema: JsonSchema, facts: Sequence[Fact]) -> JsonSchema:
    """Return the schema of rule files with facts of one's own beside the shipped ones."""
    whole = deepcopy(schema)
    parts = whole["$defs"]
    for scope, visible in VISIBLE.items():
        _add_to_scope(parts, scope, [fact for fact in facts if fact.scope in visible])
    for wording in ("Wording", "set-of-Wording"):
        told = parts[wording]["properties"]["names"]["propertyNames"]
        told["enum"] = sorted({*told["enum"], *(name for fact in facts for name in fact.names)})
    return whole


def _add_to_scope(parts: JsonSchema, scope: str, facts: Sequence[Fact]) -> None:
    """Add facts to what rules of a scope, and changes of them, may compare, show and have as examples."""
    for fact in facts:
        parts[f"compared-{fact.name}"] = comparison_schema(fact)
        parts[f"value-{fact.name}"] = value_compared(fact)
        parts[f"condition-of-{scope}"]["properties"][fact.name] = {"$ref": f"#/$defs/compared-{fact.name}"}
        parts[f"example-of-{scope}"]["properties"]["given"]["properties"][fact.name] = given_schema(fact)
    names = "".join(f"{fact.name}|" for fact in facts)
    for whole_or_set in ("", "set-of-"):
        amounts = parts[f"{whole_or_set}shift-of-{scope}"]["properties"]["amount"]["enum"]
        amounts[:0] = [fact.name for fact in facts if fact.unit == MMHG]
        for text in ("explanation", "advice"):
            sentence = parts[f"{whole_or_set}rule-of-{scope}"]["properties"][text]
            sentence["pattern"] = sentence["pattern"].replace(SENTENCE_BEGINS, SENTENCE_BEGINS + names, 1)


@lru_cache(maxsize=4)
def document_with(own: tuple[OwnFact, ...]) -> bytes:
    """Return the OpenAPI document as it is served, as JSON; without facts of one's own, as it is shipped."""
    written = (shipped("openapi") / "openapi.json").read_bytes()
    return orjson.dumps(requests_with(orjson.loads(written), own)) if own else written


def requests_with(document: JsonSchema, own: Sequence[OwnFact]) -> JsonSchema:
    """Return the OpenAPI document with facts of one's own among the fields of a request."""
    whole = deepcopy(document)
    for fact in own:
        whole["components"]["schemas"][OBJECTS[fact.recorded_with]]["properties"][fact.name] = _field_schema(fact)
    return whole


def _field_schema(own: OwnFact) -> JsonSchema:
    """Return what a request may hold of a fact, in the form of the declared fields."""
    described = {"description": own.meaning, "x-also-read": also_read(own.field())}
    if own.kind == "choice":
        return {"type": ["string", "null"], "enum": [*own.names, None], **described}
    if own.kind == "flag":
        return {"type": ["boolean", "null"], **described}
    limits = {"minimum": own.low, "maximum": own.high}
    bounds = {name: limit for name, limit in limits.items() if isfinite(limit)}
    return {"type": ["number", "null"], **bounds, **described, "x-ucum-unit": own.unit}
