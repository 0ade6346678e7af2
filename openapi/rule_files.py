"""The JSON Schema of rule files, so that an editor completes and checks them: shapes from their declarations, names of
facts, operators, limits and enumerations from where the service has them. What only several files together can show
wrong (a rule or next step that does not exist, a circle, a repeated id) and what YAML itself forbids is not in it.
"""

from collections.abc import Iterator
from copy import deepcopy
from re import escape
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from marshmallow import Schema, fields

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.intake.fields import Block, Number, Part
from heartlevel.ruling.files.building import READING_FIELDS
from heartlevel.ruling.files.content import FACTS, PATIENTS
from heartlevel.ruling.files.fields import KEBAB_CASE, Count, Name
from heartlevel.ruling.files.followup.declared import HeadBlock
from heartlevel.ruling.files.layering.declared import LayerBlock
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.files.own.building import OF_KIND
from heartlevel.ruling.files.own.declared import SNAKE_CASE, FactBlock, FactName
from heartlevel.ruling.files.patients.declared import PatientBlock
from heartlevel.ruling.files.profile_schema import GuidelineBlock, LevelSet, ProtocolBlock
from heartlevel.ruling.files.schema import RuleBlock, RuleTextsBlock, WordingBlock
from heartlevel.ruling.files.translated.originals import values_told
from heartlevel.ruling.files.urgency.declared import UrgencyBlock
from heartlevel.ruling.tools.condition_schemas import (
    SENTENCE_BEGINS,
    JsonSchema,
    comparison_schema,
    condition_schema,
    given_schema,
    value_compared,
)
from heartlevel.vocabulary import MMHG, SCOPES
from known_names import name_all
from layer_changes import type_changes

KINDS = {"guidelines": GuidelineBlock, "protocols": ProtocolBlock, "wording": WordingBlock, "ruleset": HeadBlock,
         "urgency": UrgencyBlock, "layer": LayerBlock}  # fmt: skip
FILES = tuple(KINDS.values())
LIST_FILES = {scope: f"rules-of-{scope}" for scope in SCOPES} | {FACTS: FACTS, PATIENTS: PATIENTS}  # by their folders
PARAMETER_NAMED = rf"({KEBAB_CASE.pattern}\.)?{KEBAB_CASE.pattern}"
NO_READING = ("series", "device", "comparison")  # scopes whose rules concern no single reading


def rule_files() -> JsonSchema:
    """Return the whole schema."""
    schemas = _declared()
    for scope in SCOPES:
        schemas |= _of_scope(scope, schemas)
    for general in ("Rule", "Example", "ExpectedError", "Shift"):
        del schemas[general]
    schemas["limit"] = {
        "description": "a limit of the guideline or protocol in use",
        "type": "object",
        "required": ["limit"],
        "properties": {"limit": {"enum": _limits()}},
        "additionalProperties": False,
    }
    schemas["param"] = {
        "description": "a parameter of the rule, or of another as `rule.name`; `minus` is its negative",
        "type": "object",
        "minProperties": 1,
        "maxProperties": 1,
        "properties": {name: {"type": "string", "pattern": f"^{PARAMETER_NAMED}$"} for name in ("param", "minus")},
        "additionalProperties": False,
    }
    _texts_by_name(schemas["Wording"]["properties"])
    for levels in schemas["Categories"]["properties"].values():
        _lowest_first(levels)
    schemas |= _of_facts(schemas["Fact"])
    schemas[PATIENTS] = {"type": "array", "items": {"$ref": "#/$defs/Patient"}, "description": "Whole patients as tests."}
    ruleset = load()
    name_all(schemas, ruleset)
    type_changes(schemas, ruleset)
    lists = [{"$ref": f"#/$defs/{name}"} for name in LIST_FILES.values()]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rule files of heartlevel",
        "anyOf": [*lists, *({"$ref": f"#/$defs/{name_of(block)}"} for block in FILES)],
        "$defs": dict(sorted(schemas.items())),
    }


def by_kind() -> dict[str, JsonSchema]:
    """Return a schema for each kind of file, by the name of its folder or file; all refer to the whole one."""
    kinds = LIST_FILES | {kind: name_of(block) for kind, block in KINDS.items()}
    return {
        kind: {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": f"{kind} of heartlevel",
            "$ref": f"../rule-files.schema.json#/$defs/{name}",
        }
        for kind, name in kinds.items()
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
    for declared in (RuleBlock, RuleTextsBlock, FactBlock, PatientBlock, *FILES):
        spec.components.schema(name_of(declared), schema=declared)
    schemas: dict[str, JsonSchema] = _moved(spec.to_dict()["components"]["schemas"])
    for block in every_declaration(Block):
        if name_of(block) in schemas:
            schemas[name_of(block)]["description"] = block.__doc__
    return schemas


def _unit(_: OpenAPIConverter, field: fields.Field[Any], **__: Any) -> JsonSchema:
    unit = field.metadata.get("unit", "1")
    return {} if unit == "1" else {"description": f"{field.metadata['description']}, {unit}"}


def _kind(_: OpenAPIConverter, field: fields.Field[Any], **__: Any) -> JsonSchema:
    """Describe the kinds that apispec does not know."""
    if isinstance(field, FactName):
        return {"pattern": f"^{SNAKE_CASE.pattern}$"}
    if isinstance(field, Name):
        return {"pattern": f"^{KEBAB_CASE.pattern}$"}
    return {"type": "integer"} if isinstance(field, Count) else {}


def _moved(data: Any) -> Any:
    """Point references at `$defs`."""
    if isinstance(data, list):
        return [_moved(item) for item in data]
    if not isinstance(data, dict):
        return data.replace("#/components/schemas/", "#/$defs/") if isinstance(data, str) else data
    return {key: _moved(value) for key, value in data.items()}


def every_declaration(schema: type[Schema]) -> Iterator[type[Schema]]:
    """Yield all subclasses, in order of definition."""
    for direct in schema.__subclasses__():
        yield direct
        yield from every_declaration(direct)


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
    parts["names"] |= {
        "type": ["object", "null"],
        "propertyNames": {"enum": sorted(values_told())},
        "additionalProperties": text,
    }
    parts["categories"] |= {"type": ["object", "null"], "additionalProperties": text}
    parts["urgency"] |= {"type": ["object", "null"], "additionalProperties": text}
    parts["rules"] |= {"type": ["object", "null"], "additionalProperties": {"$ref": "#/$defs/RuleTexts"}}


def _of_facts(fact: JsonSchema) -> JsonSchema:
    """Return what a file of facts may hold; which fields a fact has goes by its kind."""
    nothing = {"type": "null"}
    all_keys = dict.fromkeys(key for keys in OF_KIND.values() for key in keys)
    fact["allOf"] = [
        {"if": {"properties": {"kind": {"const": kind}}},
         "then": {"required": list(keys), "properties": {key: nothing for key in all_keys if key not in keys}}}
        for kind, keys in OF_KIND.items()
    ]  # fmt: skip
    listed = {"type": "array", "items": {"$ref": "#/$defs/Fact"}, "description": "Facts of one's own."}
    return {"Fact": fact, FACTS: listed}


def _lowest_first(levels: JsonSchema) -> None:
    lowest = {"properties": {"from": {"type": "null"}}}
    levels |= {"prefixItems": [{"allOf": [levels["items"], lowest]}], "items": levels["items"] | {"required": ["from"]}}


def _of_scope(scope: str, schemas: dict[str, JsonSchema]) -> dict[str, JsonSchema]:
    """Return what a rule file of one scope may hold: its facts' names are known."""
    facts = [fact for fact in CATALOGUE.values() if fact.scope in VISIBLE[scope]]
    own = {name: f"#/$defs/{name}-of-{scope}" for name in ("rule", "condition", "example", "error", "shift")}
    rule, example, error, shift = (deepcopy(schemas[name]) for name in ("Rule", "Example", "ExpectedError", "Shift"))
    parts = rule["properties"]
    parts["scope"] |= {"enum": [scope]}
    parts["when"] = {"$ref": own["condition"]}
    parts["parameters"] |= {
        "type": ["object", "null"],
        "propertyNames": {"pattern": f"^{KEBAB_CASE.pattern}$"},
        "additionalProperties": {"type": "number"},
    }
    for text in ("explanation", "advice"):
        parts[text] |= {"pattern": _sentence(facts)}
    parts["expected_error"]["anyOf"][0] = {"$ref": own["error"]}
    parts["examples"] |= {"items": {"$ref": own["example"]}, "allOf": [_with("fires"), _with("silent")]}
    _of_scope_only(scope, parts)
    given = {fact.name: given_schema(fact) for fact in facts}
    example["properties"]["given"] |= {"type": "object", "properties": given, "additionalProperties": False}
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
        f"condition-of-{scope}": condition_schema(facts, own["condition"]),
        **{f"compared-{fact.name}": comparison_schema(fact) for fact in facts},
        **{f"value-{fact.name}": value_compared(fact) for fact in facts},
    }


def _of_scope_only(scope: str, parts: JsonSchema) -> None:
    nothing = {"type": "null"}
    parts["field"] = {**parts["field"], "enum": [*READING_FIELDS, None]} if scope == "reading" else nothing
    if scope != "comparison":
        parts["pattern"] = nothing
    if scope in ("device", "comparison"):
        parts["consequence"] = nothing
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
    """Return a pattern of the sentences whose places are facts of the scope, limits, parameters and numbers."""
    names = "|".join(escape(fact.name) for fact in facts)
    limits = "|".join(escape(limit).replace(r"\-", "-") for limit in _limits())
    parameter = rf"param:{PARAMETER_NAMED}(,{PARAMETER_NAMED})*(:[^{{}}]*)?|fixed:[0-9.]+"
    return rf"{SENTENCE_BEGINS}{names})(:[^{{}}]*)?\}}|\{{limit:({limits})( [^{{}}]*)?\}}|\{{({parameter})\}})*$"
