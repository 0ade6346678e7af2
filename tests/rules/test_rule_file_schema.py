"""The JSON Schema of rule files, for editors: it takes every shipped file and marks what one file alone shows wrong."""

import importlib.util
import json
import shutil
from copy import deepcopy
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE
from heartlevel.resources import shipped
from heartlevel.ruling.files.source import source_file
from heartlevel.ruling.tools.editors import patterns_of
from rules.test_examples import MISTAKES, edit
from support import rules

WRITTEN = shipped("openapi") / "rule-files.schema.json"
SCHEMA = json.loads(WRITTEN.read_text("utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)
FILES = sorted(shipped("rules").rglob("*.yaml"))

# What a schema of one file cannot know, and who does. Of this kind are also rules that mention each other in a circle
# and two rules with one condition.
BEYOND_A_SCHEMA = {
    "a repeated id": "other items of the file, and other files",
    "an unknown next step": "the wording",
    "an unknown finding": "the other rules of the scope",
    "a guideline's unknown protocol": "the other files",
}
AT_FAULT_AS_YAML = {"a repeated key", "an anchor", "a tag"}  # gone from the data that a schema is asked about


def data_of(path: Path):
    return deepcopy(source_file(path, path.name).data)  # files are shared, and some tests damage what they hold


def names(path: Path) -> str:
    return path.relative_to(shipped("rules")).as_posix()


def test_the_schema_is_a_schema():
    Draft202012Validator.check_schema(SCHEMA)


def test_the_schema_is_the_one_that_the_declarations_make():
    place = shipped("openapi") / "rule_files.py"
    spec = importlib.util.spec_from_file_location("rule_files", place)
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    assert made.rule_files() == SCHEMA


@pytest.mark.parametrize("path", FILES, ids=names)
def test_every_shipped_file_is_accepted_as_exactly_one_kind_of_file(path):
    data = data_of(path)
    kinds = [VALIDATOR.evolve(schema={**SCHEMA, "anyOf": [kind]}) for kind in SCHEMA["anyOf"]]
    assert [kind.is_valid(data) for kind in kinds].count(True) == 1


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_marked_unless_it_is_beyond_a_schema(tmp_path, mistake):
    folder = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    file, before, after, *_ = MISTAKES[mistake]
    edit(folder, file, before, after)
    found = source_file(folder / file, file)
    assert bool(found.faults) == (mistake in AT_FAULT_AS_YAML)
    if not found.faults:
        assert VALIDATOR.is_valid(found.data) == (mistake in BEYOND_A_SCHEMA)


def test_what_a_schema_leaves_to_others_is_among_the_mistakes():
    assert set(BEYOND_A_SCHEMA) | AT_FAULT_AS_YAML <= set(MISTAKES)


def test_a_rule_without_sources_is_marked():
    data = data_of(shipped("rules") / "reading" / "heart-level.yaml")
    del data[0]["sources"]
    assert not VALIDATOR.is_valid(data)


def test_every_rule_in_force_is_accepted_in_its_scope_and_in_no_other():
    for rule in rules().ruleset.every_rule():
        for scope in VISIBLE:
            of_scope = VALIDATOR.evolve(schema={**SCHEMA, "anyOf": [{"$ref": f"#/$defs/rules-of-{scope}"}]})
            assert of_scope.is_valid([dict(rule.written)]) == (scope == rule.scope), (rule.id, scope)


@pytest.mark.parametrize("scope", VISIBLE)
def test_every_fact_of_a_scope_is_completed_in_conditions_and_examples_and_no_other(scope):
    visible = {name for name, fact in CATALOGUE.items() if fact.scope in VISIBLE[scope]}
    offered = set(SCHEMA["$defs"][f"condition-of-{scope}"]["properties"])
    assert offered == visible | {"all", "any", "none", "finding"}
    assert set(SCHEMA["$defs"][f"example-of-{scope}"]["properties"]["given"]["properties"]) == visible


def test_the_limits_offered_are_those_some_guideline_or_protocol_has():
    offered = set(SCHEMA["$defs"]["limit"]["properties"]["limit"]["enum"])
    ruleset = rules().ruleset
    known = {name for one in (*ruleset.guidelines.values(), *ruleset.protocols.values()) for name in one.limits}
    assert known == offered


SILENT = {"given": {}, "expect": "silent"}
(RULE,) = (one for one in data_of(shipped("rules") / "reading/heart-level.yaml") if one["id"] == "cuff-near-heart-level")
WRONG = {
    "number with a text": {"when": {"pulse": {"above": "100"}}},
    "number out of its range": {"when": {"systolic": {"above": 4000}}},
    "choice of another fact": {"when": {"arm_level": {"equals": "sitting"}}},
    "flag with a number": {"when": {"legs_crossed": {"equals": 1}}},
    "between of one": {"when": {"pulse": {"between": [1]}}},
    "one_of of none": {"when": {"arm_level": {"one_of": []}}},
    "known of a text": {"when": {"pulse": {"known": "yes"}}},
    "two operators": {"when": {"pulse": {"above": 1, "below": 9}}},
    "two facts": {"when": {"pulse": {"above": 1}, "systolic": {"above": 1}}},
    "fact of another scope": {"when": {"home_days": {"above": 1}}},
    "limit of a choice": {"when": {"arm_level": {"equals": {"limit": "severe.systolic"}}}},
    "given of the wrong kind": {"examples": [{"given": {"pulse": True}, "expect": "fires"}, SILENT]},
    "no example that is silent": {"examples": [{"given": {}, "expect": "fires"}]},
    "pattern of a reading": {"pattern": "sustained"},
    "field that no reading has": {"field": "systolc"},
    "range of one": {"expected_error": {"systolic": {"reads": "high", "range": [1]}}},
    "expected error that is nothing": {"expected_error": {"systolic": None}},
    "range and amount": {"expected_error": {"systolic": {"reads": "high", "range": [1, 2], "amount": "systolic"}}},
    "amount that is no pressure": {"expected_error": {"systolic": {"reads": "high", "amount": "pulse"}}},
    "placeholder of another scope": {"advice": "On {home_days} days."},
    "placeholder left open": {"advice": "A pulse of {pulse"},
    "too long a title": {"title": "t" * 121},
    "unknown severity": {"severity": "urgent"},
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_part_of_a_rule_is_marked_in_its_place(wrong):
    schema = {"$ref": "#/$defs/rule-of-reading", "$defs": SCHEMA["$defs"]}
    assert VALIDATOR.evolve(schema=schema).is_valid(RULE)
    errors = list(VALIDATOR.evolve(schema=schema).iter_errors(deepcopy(RULE) | WRONG[wrong]))
    assert {error.absolute_path[0] for error in errors} == set(WRONG[wrong])


RIGHT = {
    "limit": {"when": {"systolic": {"at_least": {"limit": "severe.systolic"}}}},
    "mention": {"when": {"none": [{"finding": "any-other"}]}},
    "null for what is unknown": {"examples": [{"given": {"pulse": None}, "expect": "fires"}, SILENT]},
    "null for what is optional": {"urgent": None, "pattern": None, "field": None, "expected_error": None},
    "places in sentences": {"advice": "{{}} {pulse} {cuff_width_to_arm:percent} {limit:severe.systolic}"},
}


@pytest.mark.parametrize("right", RIGHT)
def test_a_right_part_of_a_rule_is_not_marked(right):
    schema = {"$ref": "#/$defs/rule-of-reading", "$defs": SCHEMA["$defs"]}
    assert VALIDATOR.evolve(schema=schema).is_valid(deepcopy(RULE) | RIGHT[right])


LAYER = {"name": "Clinic", "revision": "1"}
CHANGES_RIGHT = {
    "a rule's field": {
        "of": "rule",
        "id": "legs-crossed",
        "set": {"severity": "high", "when": {"talking": {"equals": True}}},
    },
    "part of a published range": {
        "of": "rule",
        "id": "legs-crossed",
        "set": {"expected_error": {"systolic": {"range": [1, 2]}}},
    },
    "a clinic's own rule": {"of": "rule", "id": "ours", "set": {"when": {"home_days": {"above": 1}}}},
    "off": {"of": "rule", "id": "ours", "off": True},
    "parts alone": {"of": "rule", "id": "legs-crossed", "parts": [{"add": {"talking": {"equals": False}}}]},
    "a declared fact's range": {"of": "fact", "id": "room_temperature", "set": {"range": [0, 45]}},
    "a declared fact off": {"of": "fact", "id": "room_temperature", "off": True},
    "one limit": {"of": "guideline", "id": "ours", "set": {"limits": {"home": {"hypertension": {"systolic": 1}}}}},
    "a protocol's days": {"of": "protocol", "id": "aha-2008", "set": {"home": {"days": 5}}},
    "a text": {"of": "wording", "id": "es", "set": {"rules": {"legs-crossed": {"patient": "..."}}}},
    "a default": {"of": "ruleset", "set": {"default_guideline": "ours"}},
    "days": {"of": "urgency", "set": {"history": {"after_days": 60}}},
}
CHANGES_WRONG = {
    "a fact of another scope": {"of": "rule", "id": "legs-crossed", "set": {"when": {"home_days": {"above": 1}}}},
    "a fact of none": {"of": "rule", "id": "ours", "set": {"when": {"hom_days": {"above": 1}}}},
    "a rule's scope": {"of": "rule", "id": "legs-crossed", "set": {"scope": "series"}},
    "off and set": {"of": "rule", "id": "legs-crossed", "off": True, "set": {"severity": "high"}},
    "neither": {"of": "rule", "id": "legs-crossed"},
    "a guideline off": {"of": "guideline", "id": "esc-2024", "off": True},
    "a guideline without id": {"of": "guideline", "set": {"year": 2025}},
    "the rule set with id": {"of": "ruleset", "id": "x", "set": {"default_guideline": "ours"}},
    "a rule's field of a guideline": {"of": "guideline", "id": "esc-2024", "set": {"severity": "high"}},
    "a guideline's of a protocol": {"of": "protocol", "id": "aha-2008", "set": {"limits": {}}},
    "a list in part": {"of": "guideline", "id": "esc-2024", "set": {"categories": {"home": [{"id": "normal"}]}}},
    "nothing": {"of": "urgency", "set": {}},
    "a fact's name": {"of": "fact", "id": "room_temperature", "set": {"name": "room"}},
    "a fact without id": {"of": "fact", "set": {"range": [0, 45]}},
    "a rule's field of a fact": {"of": "fact", "id": "room_temperature", "set": {"severity": "high"}},
    "parts of a fact": {"of": "fact", "id": "room_temperature", "parts": [{"remove": "talking"}]},
    "a fact off and set": {"of": "fact", "id": "room_temperature", "off": True, "set": {"range": [0, 45]}},
}


def is_layer(change: dict) -> bool:
    layer = VALIDATOR.evolve(schema={"$ref": "#/$defs/Layer", "$defs": SCHEMA["$defs"]})
    return layer.is_valid({**LAYER, "changes": [{**change, "reason": "x"}]})


@pytest.mark.parametrize("right", CHANGES_RIGHT)
def test_a_change_may_set_what_its_kind_has(right):
    assert is_layer(CHANGES_RIGHT[right])


@pytest.mark.parametrize("wrong", CHANGES_WRONG)
def test_a_change_that_sets_what_its_kind_has_not_is_marked(wrong):
    assert not is_layer(CHANGES_WRONG[wrong])


@pytest.mark.parametrize("path", FILES, ids=names)
def test_every_shipped_file_is_accepted_by_the_schema_of_its_kind(path):
    kind = path.relative_to(shipped("rules")).parts[0].removesuffix(".yaml")
    written = json.loads((WRITTEN.parent / "rule-files" / f"{kind}.schema.json").read_text("utf-8"))
    whole, _, pointer = written["$ref"].partition("#")
    assert (WRITTEN.parent / "rule-files" / whole).resolve() == WRITTEN
    assert VALIDATOR.evolve(schema={"$ref": f"#{pointer}", "$defs": SCHEMA["$defs"]}).is_valid(data_of(path))


@pytest.mark.parametrize(("kind", "item"), [("facts", "name"), ("patients", "who")])
def test_a_clinics_own_kinds_of_file_have_a_schema_of_their_kind(kind, item):
    written = json.loads((WRITTEN.parent / "rule-files" / f"{kind}.schema.json").read_text("utf-8"))
    pointer = written["$ref"].partition("#")[2]
    marks = VALIDATOR.evolve(schema={"$ref": f"#{pointer}", "$defs": SCHEMA["$defs"]}).iter_errors([{}])
    assert any(f"'{item}' is a required property" in error.message for error in marks)
    assert f"{kind}/**/*.yaml" in patterns_of(kind)
