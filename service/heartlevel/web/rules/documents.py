"""The routes that tell of the rules in force, and try candidates for them."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, abort, current_app

from heartlevel.assessment import Rules
from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.tools.translating.outstanding import languages_in
from heartlevel.web.answering import choose_rules, in_force, respond, rules_in_force, sent_as_json, tagged
from heartlevel.web.problems import problem_response
from heartlevel.web.promises.kinds import KINDS
from heartlevel.web.promises.paths import RULE_ID
from heartlevel.web.rules.kept_documents import of_rules
from heartlevel.web.rules.trials import try_candidate

rule_routes = Blueprint("heartlevel-rules", __name__)
rule_routes.before_request(choose_rules)


@rule_routes.post("/v1/rules/trial")
def try_rules() -> Response:
    """Try candidate rule files on requests: what would change."""
    if not current_app.config["TRIALS"]:
        abort(403, "trials are switched off here")
    return respond(try_candidate(sent_as_json(), in_force(), rules_in_force()))


@rule_routes.get("/v1/rules")
def get_rules() -> Response:
    """List the rules in force."""
    return of_rules("rules", _rules_written)


def _rules_written(rules: Rules) -> dict[str, Any]:
    ruleset = rules.ruleset
    return {
        "name": ruleset.name,
        "revision": ruleset.revision,
        "fingerprint": ruleset.fingerprint,
        "layers": [layer.as_dict() for layer in ruleset.layers],
        "languages": list(languages_in(ruleset)),
        "rules": [_rule_written(ruleset, rule) for rule in ruleset.every_rule()],
        "silenced": [{"id": name, **change.as_dict()} for name, change in ruleset.silenced().items()],
    }


def _rule_written(ruleset: RuleSet, rule: Rule) -> dict[str, Any]:
    provenance = {**ruleset.provenance("rule", rule.id, rule.entry), "parameters": ruleset.parameter_origins(rule)}
    return {**rule.written, "title": rule.title, "provenance": provenance}


@rule_routes.get(f"/v1/rules/<{RULE_ID}:name>")
def get_rule(name: str) -> Response:
    """Return one rule as it is in force, with where it comes from; of one that a layer switched off, who did so and why."""
    ruleset = rules_in_force().ruleset
    rules: Mapping[str, Rule] = {rule.id: rule for rule in ruleset.every_rule()}
    if name in rules:
        return of_rules(f"rule {name}", lambda _: _rule_written(ruleset, rules[name]))
    change = ruleset.silenced().get(name)
    if change is None:
        abort(404, "no rule of that id is in force")
    detail = f"the layer {change.layer} switched it off: {change.reason}"
    return tagged(problem_response(KINDS["rule-switched-off"], detail, silenced={"id": name, **change.as_dict()}))


@rule_routes.get("/v1/guidelines")
def get_guidelines() -> Response:
    """List the guidelines: limits, categories, sources."""
    return of_rules(
        "guidelines",
        lambda rules: {"guidelines": [guideline.written for guideline in rules.ruleset.guidelines.values()]},
    )


@rule_routes.get("/v1/protocols")
def get_protocols() -> Response:
    """List the averaging protocols."""
    return of_rules(
        "protocols", lambda rules: {"protocols": [protocol.written for protocol in rules.ruleset.protocols.values()]}
    )


@rule_routes.get("/v1/facts")
def get_facts() -> Response:
    """List the facts a rule may use, those of one's own with where they come from."""
    return of_rules(
        "facts", lambda rules: {"facts": [_fact_written(rules.ruleset, fact) for fact in rules.ruleset.facts.values()]}
    )


def _fact_written(ruleset: RuleSet, fact: Fact) -> dict[str, Any]:
    keys = ("name", "scope", "kind", "unit", "formula", "meaning", "names")
    written = {key: getattr(fact, key) for key in keys}
    entry = ruleset.entries.get(("fact", fact.name))
    if entry is None:
        return written
    limits = {"range": entry.item.get("range"), "recorded_with": entry.item["recorded_with"]}
    return written | limits | {"sources": entry.item["sources"], "provenance": ruleset.provenance("fact", fact.name, entry)}
