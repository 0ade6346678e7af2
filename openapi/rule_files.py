"""The JSON Schema of rule files, so that an editor completes and checks them: shapes from their declarations, names of
facts, operators, limits and enumerations from where the service has them. What only several files together can show
wrong (a rule or next step that does not exist, a circle, a repeated id) and what YAML itself forbids is not in it.
"""

from collections.abc import Iterator
from copy import deepcopy
from math import isfinite
from re import escape
from typing import Any, TypeAlias

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin, OpenAPIConverter
from marshmallow import Schema, fields

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.intake.fields import KEBAB_CASE, Block, Count, Name, Number, Part
from heartlevel.ruling.files.building import READING_FIELDS
from heartlevel.ruling.files.profile_schema import GuidelineBlock, LevelSet, ProtocolBlock
from heartlevel.ruling.files.schema import LayerBlock, RuleBlock, RuleSetBlock, RuleTextsBlock, WordingBlock
from heartlevel.ruling.files.wording import VALUES
from heartlevel.ruling.language.conditions import GROUPS, OPERATORS, ORDERED
from heartlevel.vocabulary import MMHG, SCOPES

JsonSchema: TypeAlias = dict[str, Any]
FILES = (GuidelineBlock, ProtocolBlock, WordingBlock, RuleSetBlock, LayerBlock)
NO_READING = ("series", "device")  # scopes whose rules concern no single reading
FINDING = {"type": "string", "minLength": 1, "description": "id of another rule of this scope: true where that rule fires"}


def rule_files() -> JsonSchema:
    """Return the whole schema."""
    made = _declared()
    for scope in SCOPES:
        made |= _of_scope(scope, made)
    for general in ("Rule", "Example", "ExpectedError", "Shift"):
        del made[general]
    made["limit"] = {
        "description": "a limit of the guideline or protocol in use",
        "type": "object",
        "required": ["limit"],
        "properties": {"limit": {"enum": _limits()}},
        "additionalProperties": False,
    }
    _texts_by_name(made["Wording"]["properties"])
    made["Change"]["properties"]["set"] |= {"type": ["object", "null"]}
    for several in made["Categories"]["properties"].values():
        _lowest_first(several)
    lists = [{"$ref": f"#/$defs/rules-of-{scope}"} for scope in SCOPES]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rule files of heartlevel",
        "anyOf": [*lists, *({"$ref": f"#/$defs/{name_of(block)}"} for block in FILES)],
        "$defs": dict(sorted(made.items())),
    }


def name_of(block: Any) -> str:
    """Name a declaration in the schema."""
    return (block if isinstance(block, type) else type(block)).__name__.removesuffix("Block")


def _declared() -> dict[str, JsonSchema]:
    plugin = MarshmallowPlugin(schema_name_resolver=name_of)
    spec = APISpec(title="", version="", openapi_version="3.1.0", plugins=[plugin])
    assert plugin.converter is not None
    for describe in (_unit, _kind):
        plugin.converter.add_attribute_function(describe)
    for block in (RuleBlock, RuleTextsBlock, *FILES):
        spec.components.schema(name_of(block), schema=block)
    made: dict[str, JsonSchema] = _moved(spec.to_dict()["components"]["schemas"])
    for block in _declarations(Block):
        if name_of(block) in made:
            made[name_of(block)]["description"] = block.__doc__
    return made


def _unit(_: OpenAPIConverter, field: fields.Field[Any], **__: Any) -> JsonSchema:
    unit = field.metadata.get("unit", "1")
    return {} if unit == "1" else {"description": f"{field.metadata['description']}, {unit}"}


def _kind(_: OpenAPIConverter, field: fields.Field[Any], **__: Any) -> JsonSchema:
    """Describe the kinds that apispec does not know."""
    if isinstance(field, Name):
        return {"pattern": f"^{KEBAB_CASE.pattern}$"}
    return {"type": "integer"} if isinstance(field, Count) else {}


def _moved(data: Any) -> Any:
    """Point references at `$defs`."""
    if isinstance(data, list):
        return [_moved(one) for one in data]
    if not isinstance(data, dict):
        return data.replace("#/components/schemas/", "#/$defs/") if isinstance(data, str) else data
    return {key: _moved(value) for key, value in data.items()}


def _declarations(of: type[Schema]) -> Iterator[type[Schema]]:
    for direct in of.__subclasses__():
        yield direct
        yield from _declarations(direct)


def _limits() -> list[str]:
    return ["adults_from_years", "after_birth_days", *_numbers(LevelSet(), ""), *_numbers(ProtocolBlock(), "protocol.")]


def _numbers(block: Schema, prefix: str) -> Iterator[str]:
    for name, field in block.fields.items():
        key = f"{prefix}{field.data_key or name}"
        if isinstance(field, Part):
            yield from _numbers(field.schema, f"{key}.")
        elif isinstance(field, Number) and key != "protocol.year":
            yield key


def _texts_by_name(parts: JsonSchema) -> None:
    text = {"type": "string", "minLength": 1}
    parts["next_steps"] |= {"type": "object", "additionalProperties": text}
    parts["names"] |= {"type": ["object", "null"], "propertyNames": {"enum": sorted(VALUES)}, "additionalProperties": text}
    parts["categories"] |= {"type": ["object", "null"], "additionalProperties": text}
    parts["rules"] |= {"type": ["object", "null"], "additionalProperties": {"$ref": "#/$defs/RuleTexts"}}


def _lowest_first(several: JsonSchema) -> None:
    lowest = {"properties": {"from": {"type": "null"}}}
    several |= {"prefixItems": [{"allOf": [several["items"], lowest]}], "items": several["items"] | {"required": ["from"]}}


def _of_scope(scope: str, made: dict[str, JsonSchema]) -> dict[str, JsonSchema]:
    """Return what a rule file of one scope may hold: its facts' names are known."""
    facts = [fact for fact in CATALOGUE.values() if fact.scope in VISIBLE[scope]]
    own = {name: f"#/$defs/{name}-of-{scope}" for name in ("rule", "condition", "example", "error", "shift")}
    rule, example, error, shift = (deepcopy(made[name]) for name in ("Rule", "Example", "ExpectedError", "Shift"))
    parts, one = rule["properties"], example["properties"]
    parts["scope"] |= {"enum": [scope]}
    parts["when"] = {"$ref": own["condition"]}
    for text in ("explanation", "advice"):
        parts[text] |= {"pattern": _sentence(facts)}
    parts["expected_error"]["anyOf"][0] = {"$ref": own["error"]}
    parts["examples"] |= {"items": {"$ref": own["example"]}, "allOf": [_with("fires"), _with("silent")]}
    _of_scope_only(scope, parts)
    given = {fact.name: {"description": _meaning(fact), **_or_null(_value(fact))} for fact in facts}
    one["given"] |= {"type": "object", "properties": given, "additionalProperties": False}
    for pressure in error["properties"].values():
        del pressure["anyOf"]
        pressure["$ref"] = own["shift"]
    _range_or_amount(shift, [fact.name for fact in facts if fact.unit == MMHG])
    return {
        f"rules-of-{scope}": {"type": "array", "items": {"$ref": own["rule"]}, "description": f"Rules asked of a {scope}."},
        f"rule-of-{scope}": rule,
        f"example-of-{scope}": example,
        f"error-of-{scope}": error,
        f"shift-of-{scope}": shift,
        f"condition-of-{scope}": _condition(facts, own["condition"]),
        **{f"compared-{fact.name}": _comparison(fact) for fact in facts},
        **{f"value-{fact.name}": _compared_with(fact) for fact in facts},
    }


def _of_scope_only(scope: str, parts: JsonSchema) -> None:
    nothing = {"type": "null"}
    parts["field"] = {**parts["field"], "enum": [*READING_FIELDS, None]} if scope == "reading" else nothing
    if scope != "series":
        parts["pattern"] = nothing
    if scope in NO_READING:
        parts["effect"] |= {"enum": ["none"]}
        parts["usual_share"] = nothing


def _with(outcome: str) -> JsonSchema:
    return {"contains": {"required": ["expect"], "properties": {"expect": {"const": outcome}}}}


def _range_or_amount(shift: JsonSchema, pressures: list[str]) -> None:
    shift["properties"]["range"] |= {"minItems": 2}
    shift["properties"]["amount"] |= {"enum": [*pressures, None]}
    shift["oneOf"] = [
        {"required": ["range"], "properties": {"range": {"type": "array"}}},
        {"required": ["amount"], "properties": {"amount": {"type": "string"}}},
    ]


def _sentence(facts: list[Fact]) -> str:
    """Return a pattern of the sentences whose places are all facts of the scope or limits, in whatever style."""
    names = "|".join(escape(fact.name) for fact in facts)
    limits = "|".join(escape(one).replace(r"\-", "-") for one in _limits())
    return rf"^([^{{}}]|\{{\{{|\}}\}}|\{{({names})(:[^{{}}]*)?\}}|\{{limit:({limits})( [^{{}}]*)?\}})*$"


def _condition(facts: list[Fact], itself: str) -> JsonSchema:
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
            "finding": FINDING,
            **{fact.name: {"$ref": f"#/$defs/compared-{fact.name}"} for fact in facts},
        },
    }


def _comparison(fact: Fact) -> JsonSchema:
    """Return what a fact may be compared with: an operator its kind allows, and values it can have."""
    value = {"$ref": f"#/$defs/value-{fact.name}"}
    several = {
        "known": {"type": "boolean"},
        "one_of": {"type": "array", "minItems": 1, "items": value},
        "between": {"type": "array", "minItems": 2, "maxItems": 2, "items": value},
    }
    allowed = [one for one in OPERATORS if fact.kind == "number" or one not in ORDERED]
    return {
        "description": _meaning(fact),
        "type": "object",
        "minProperties": 1,
        "maxProperties": 1,
        "additionalProperties": False,
        "properties": {operator: several.get(operator, value) for operator in allowed},
    }


def _compared_with(fact: Fact) -> JsonSchema:
    value = _value(fact)
    if fact.kind != "number":
        return value
    value |= {"minimum": fact.low} if isfinite(fact.low) else {}
    most = 1 if fact.share else fact.high
    value |= {"maximum": most} if isfinite(most) else {}
    return {"anyOf": [value, {"$ref": "#/$defs/limit"}]}


def _value(fact: Fact) -> JsonSchema:
    if fact.kind == "choice":
        return {"enum": list(fact.names)}
    return {"type": "number" if fact.kind == "number" else "boolean"}


def _or_null(value: JsonSchema) -> JsonSchema:
    """Allow null, which is unknown, too."""
    return {"enum": [*value["enum"], None]} if "enum" in value else {"type": [value["type"], "null"]}


def _meaning(fact: Fact) -> str:
    return fact.meaning if fact.unit in (None, "1") else f"{fact.meaning}, {fact.unit}"
