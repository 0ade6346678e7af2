"""Writes openapi.json from paths.yaml and the declarations of request, answer and rule files; answers the examples;
writes the lists in rules/README.md, rules/COVERAGE.md, and the truth tables of the rules' conditions.

    python openapi/generate.py            write them
    python openapi/generate.py --check    exit 1 if a committed one differs
"""

import json
import sys
from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import yaml
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from marshmallow import Schema, fields

from also_read import also_read
from contract.known import known_codes
from contract.levels import BriefAnswerSchema, ConclusionAnswerSchema
from contract.made_with import ProvenanceSchema
from contract.whole import AnswerSchema, DeviceChecksAnswerSchema
from coverage_page import coverage_page
from finishing import add_common, codings_named, limit, name_codes, open_answers, say_nothing_alike
from heartlevel import Rules, answer_to
from heartlevel.intake.bluetooth.expanding import IN_BYTES, PAYLOAD
from heartlevel.intake.device_checks import DeviceChecks
from heartlevel.intake.fields import Anything
from heartlevel.intake.schema import LISTS, Envelope
from heartlevel.one_call import device_answer_to
from heartlevel.ruling.files.profile_schema import GuidelineBlock, ProtocolBlock
from heartlevel.ruling.files.schema import RuleBlock
from heartlevel.ruling.language.conditions import shape_of
from heartlevel.ruling.running.truth import SHIPPED, asked_of_engine
from heartlevel.ruling.tools.editors import editor_settings
from heartlevel.version import VERSION
from response_examples import add_examples, responses
from rule_files import by_kind, every_declaration, rule_files
from rules_readme import with_lists

FOLDER = Path(__file__).parent
TARGET = FOLDER / "openapi.json"
RULE_FILES = FOLDER / "rule-files.schema.json"
KINDS_OF_FILE = FOLDER / "rule-files"
EDITOR = FOLDER.parent / ".vscode" / "settings.json"
EXAMPLES = FOLDER / "examples"
README = FOLDER.parent / "rules" / "README.md"
COVERAGE = FOLDER.parent / "rules" / "COVERAGE.md"
REQUEST, ANSWER = ".request.json", ".answer.json"
CHECKS, CHECKED = ".checks-request.json", ".checks-answer.json"


def title_of(schema: Any) -> str:
    """Name a schema in the document: declarations lose their suffix."""
    declared = schema if isinstance(schema, type) else type(schema)
    folder = "Rule" if declared.__module__.startswith("heartlevel.ruling.") else ""
    name = declared.__name__.removesuffix("Block").removesuffix("Schema")
    return name if name in ("Rule", "Guideline", "Protocol") else folder + name


def item_by_item(converter: OpenAPIConverter, field: fields.Field[Any], **_: Any) -> dict[str, Any]:
    """Describe a list that intake reads item by item."""
    listed = isinstance(field, Anything) and isinstance(field.parent, (Envelope, DeviceChecks))
    block = LISTS.get(field.name or "") if listed else None
    if block is None:
        return {}
    return {"type": ["array", "null"] if field.allow_none else "array", "items": converter.resolve_nested_schema(block)}


def units(_: OpenAPIConverter, field: fields.Field[Any], **__: Any) -> dict[str, Any]:
    """Give a number's UCUM unit."""
    return {"x-ucum-unit": field.metadata["unit"]} if field.metadata.get("unit") else {}


def document(rules: Rules) -> dict[str, Any]:
    """Return the whole document, with the names that the rules have."""
    written = yaml.safe_load((FOLDER / "paths.yaml").read_text(encoding="utf-8"))
    plugin = MarshmallowPlugin(schema_name_resolver=title_of)
    spec = APISpec(version=VERSION, openapi_version="3.1.0", plugins=[plugin], tags=written["tags"], **_info(written))
    assert plugin.converter is not None
    for describe in (item_by_item, units, also_read):
        plugin.converter.add_attribute_function(describe)
    for schema in (
        Envelope,
        AnswerSchema,
        BriefAnswerSchema,
        ConclusionAnswerSchema,
        DeviceChecks,
        DeviceChecksAnswerSchema,
        RuleBlock,
        GuidelineBlock,
        ProtocolBlock,
        ProvenanceSchema,
    ):
        if title_of(schema) not in spec.components.schemas:
            spec.components.schema(title_of(schema), schema=schema)
    whole = spec.to_dict()
    whole["paths"] = written["paths"]
    _rule_in_force(whole["components"]["schemas"])
    described(whole["components"]["schemas"])
    _or_bytes(whole["components"]["schemas"]["Reading"])
    for kind, members in written["components"].items():
        whole["components"].setdefault(kind, {}).update(members)
    whole |= {name: written[name] for name in ("servers", "security")}
    finish(whole, known_codes(rules.ruleset))
    add_examples(whole, responses(rules, examples(), examples(CHECKS)))
    return whole


def finish(whole: dict[str, Any], codes: Mapping[str, list[str]]) -> None:
    """Add what holds for the whole document."""
    schemas = whole["components"]["schemas"]
    limit(whole)
    name_codes(schemas, codes)
    say_nothing_alike(schemas)
    add_common(whole)
    codings_named(whole)
    open_answers(whole)


def _rule_in_force(schemas: dict[str, Any]) -> None:
    """Add a rule as it is served: as it stands in its file, and where it comes from."""
    served = deepcopy(schemas["Rule"])
    served["properties"]["provenance"] = {"$ref": "#/components/schemas/Provenance"}
    served["required"] = sorted([*served["required"], "provenance"])
    del schemas["Rule"]
    schemas["RuleInForce"] = {**served, "description": "A rule in force, and where it comes from."}


def _info(written: dict[str, Any]) -> dict[str, Any]:
    info = written["info"]
    return {"title": info["title"], "info": {name: info[name] for name in ("description", "contact")}}


def _or_bytes(reading: dict[str, Any]) -> None:
    """Bytes stand in the place of what they hold."""
    of_bytes = [name for name in reading["required"] if name in IN_BYTES]
    reading["required"] = [name for name in reading["required"] if name not in IN_BYTES]
    reading["anyOf"] = [{"required": of_bytes}, {"required": [PAYLOAD]}]


def described(schemas: dict[str, Any]) -> None:
    """Say of every object what its declaration says."""
    for schema in every_declaration(Schema):
        if title_of(schema) in schemas and schema.__doc__:
            schemas[title_of(schema)]["description"] = schema.__doc__


def examples(kind: str = REQUEST) -> dict[str, Any]:
    """Return the example requests of a kind by name."""
    paths = sorted(EXAMPLES.glob("*" + kind))
    return {path.name.removesuffix(kind): json.loads(path.read_text("utf-8")) for path in paths}


def generated() -> dict[Path, str]:
    """Return every generated file with its content."""
    rules = Rules.load()
    answers = {EXAMPLES / (name + ANSWER): answer_to(request, rules) for name, request in examples().items()}
    answers |= {EXAMPLES / (name + CHECKED): device_answer_to(checks, rules) for name, checks in examples(CHECKS).items()}
    page = README.read_text("utf-8")
    schemas = {TARGET: document(rules), RULE_FILES: rule_files()}
    schemas |= {KINDS_OF_FILE / f"{kind}.schema.json": schema for kind, schema in by_kind().items()}
    schemas[EDITOR] = editor_settings({kind: f"./openapi/rule-files/{kind}.schema.json" for kind in by_kind()}, "rules/")
    return {
        README: with_lists(page, rules.ruleset),
        COVERAGE: coverage_page(),
        SHIPPED: truth_tables(rules),
        **{path: as_text(content) for path, content in {**schemas, **answers}.items()},
    }


def truth_tables(rules: Rules) -> str:
    """Return what the rule engine says of every shape of the shipped rules' conditions."""
    shapes = {json.dumps(shape_of(rule.condition, rule.leaves)) for rule in rules.ruleset.every_rule()}
    return json.dumps(asked_of_engine(sorted(shapes)), indent=0) + "\n"


def as_text(content: dict[str, Any]) -> str:
    """Write JSON for reading and for comparing by lines."""
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def main() -> int:
    """Write the files, or compare them."""
    stale = [path for path, text in generated().items() if not path.exists() or path.read_text("utf-8") != text]
    if "--check" in sys.argv[1:]:
        for path in stale:
            print(f"{path.name} is out of date: run python openapi/generate.py")
        return 1 if stale else 0
    for path, text in generated().items():
        path.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
