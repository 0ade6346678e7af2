"""The schema of a layer's changes: what `set` and `id` may be goes by what is changed, as `of` says it."""

from collections.abc import Collection, Iterator
from copy import deepcopy
from typing import Any

from heartlevel.ruling.files.layering.changes import CAN_BE_OFF, NEVER_SET, OTHERWISE, REPLACED, WHOLE
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.tools.condition_schemas import JsonSchema
from heartlevel.vocabulary import SCOPES
from known_names import rules_by_scope

PREFIX = "#/$defs/"
ITEMS = {"guideline": "Guideline", "protocol": "Protocol", "wording": "Wording", "ruleset": "Head", "urgency": "Urgency",
         "fact": "Fact"}  # fmt: skip


def type_changes(schemas: dict[str, JsonSchema], ruleset: RuleSet) -> None:
    """Say what each kind of change may hold, in place."""
    names = {f"rule-of-{scope}": "rule" for scope in SCOPES} | {name: kind for kind, name in ITEMS.items()}
    for name, kind in names.items():
        _add_partial(schemas, name, NEVER_SET.get(kind, OTHERWISE))
    change = schemas["Change"]
    change["properties"]["set"] |= {"type": ["object", "null"]}
    of_rules = _of_rules(rules_by_scope(ruleset))
    change["allOf"] = [_off_or_set(), *of_rules, _of_facts(), *_of_profiles(ruleset), *_of_the_only(WHOLE)]


def _off_or_set() -> JsonSchema:
    """Return what a change does: it switches off, or it sets something, or changes parts of a condition."""
    switched_off = {"of": {"enum": list(CAN_BE_OFF)}, "id": {"type": "string"}, "off": {"const": True}}
    return {
        **_where(switched_off, {"properties": {"set": {"type": "null"}}}),
        "else": {"anyOf": [{"required": ["set"]}, {"required": ["parts"]}]},
    }


def _of_facts() -> JsonSchema:
    """Return what a change of a declared fact may hold."""
    holds = _setting({"$ref": f"{PREFIX}set-of-{ITEMS['fact']}"})
    holds["properties"] |= {"id": {"type": "string"}, "parts": {"type": "null"}}
    return _where({"of": {"const": "fact"}}, {"required": ["id"], **holds})


def _of_rules(rules: dict[str, list[str]]) -> Iterator[JsonSchema]:
    """Yield what a change of a rule may hold; a shipped one's scope is known, that of a clinic's own is not."""
    every = sorted(name for names in rules.values() for name in names)
    named = {"required": ["id"], "properties": {"id": {"anyOf": [{"enum": every}, {"type": "string"}]}}}
    yield _where({"of": {"const": "rule"}}, named)
    for scope, names in rules.items():
        yield _where(_rule({"enum": names}), _setting({"$ref": f"{PREFIX}set-of-rule-of-{scope}"}))
    scopes = [{"$ref": f"{PREFIX}set-of-rule-of-{scope}"} for scope in rules]
    yield _where(_rule({"type": "string", "not": {"enum": every}}), _setting({"anyOf": scopes}))


def _of_profiles(ruleset: RuleSet) -> Iterator[JsonSchema]:
    names = {"guideline": ruleset.guidelines, "protocol": ruleset.protocols, "wording": ruleset.wording}
    for kind, known in names.items():
        holds = _set({"$ref": f"{PREFIX}set-of-{ITEMS[kind]}"})
        holds["required"].append("id")
        holds["properties"]["id"] = {"anyOf": [{"enum": sorted(known)}, {"type": "string"}]}
        yield _where({"of": {"const": kind}}, holds)


def _of_the_only(kinds: tuple[str, ...]) -> Iterator[JsonSchema]:
    for kind in kinds:
        holds = _set({"$ref": f"{PREFIX}set-of-{ITEMS[kind]}"})
        # Not `const`: where editors complete they take a word that begins alike (rule, ruleset) for a match.
        named = {"of": {"pattern": f"^{kind}$"}}
        yield _where(named, {**holds, "properties": {**holds["properties"], "id": {"type": "null"}}})


def _rule(name: JsonSchema) -> JsonSchema:
    return {"of": {"const": "rule"}, "id": name}


def _where(properties: JsonSchema, holds: JsonSchema) -> JsonSchema:
    return {"if": {"required": list(properties), "properties": properties}, "then": holds}


def _setting(fields: JsonSchema) -> JsonSchema:
    """Return what `set` is where it is there."""
    return {"properties": {"set": {"anyOf": [fields, {"type": "null"}]}}}


def _set(fields: JsonSchema) -> JsonSchema:
    off = {"enum": [False, None]}
    return {"required": ["set"], "properties": {"set": fields, "off": off}}


def _add_partial(schemas: dict[str, JsonSchema], name: str, never: Collection[str] = OTHERWISE) -> str:
    """Add what a layer may set of a mapping, of mappings in it likewise, and return its name. Lists are set whole."""
    partial = f"set-of-{name}"
    if partial not in schemas:
        whole = schemas[partial] = deepcopy(schemas[name])
        for key in ("required", "oneOf", "allOf"):
            whole.pop(key, None)
        whole["minProperties"] = 1
        properties = {key: value for key, value in whole["properties"].items() if key not in never}
        whole["properties"] = {
            key: value if key in REPLACED else _with_partials(schemas, value) for key, value in properties.items()
        }
    return partial


def _with_partials(schemas: dict[str, JsonSchema], value: Any) -> Any:
    """Point references to mappings, in a property that may be null too, at what may be set of them."""
    if "anyOf" in value:
        return {**value, "anyOf": [_with_partials(schemas, choice) for choice in value["anyOf"]]}
    name = value.get("$ref", "").removeprefix(PREFIX)
    if name not in schemas or "properties" not in schemas[name]:
        return value
    return {**value, "$ref": PREFIX + _add_partial(schemas, name)}
