"""`heartlevel rules explain`: what a rule asks for, or why it fires or not for the subjects of a file."""

import sys
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

import click
import numpy as np
import orjson

from heartlevel.assessment import Assessment, Rules, assess_requests
from heartlevel.command.options import FAILED, json_option, loaded, rules_options
from heartlevel.conclusions.silencing.search import reason_of
from heartlevel.facts.catalogue import Fact
from heartlevel.intake.faults import near
from heartlevel.intake.ndjson import requests_in_file
from heartlevel.intake.request import Request
from heartlevel.one_call import Outcome, line_of, read_decoded
from heartlevel.ruling.language.explaining import UNITS, Tree, outline, terms_of, unit_of
from heartlevel.ruling.language.rules import Rule, Shift
from heartlevel.ruling.running.examples import OUTCOMES
from heartlevel.ruling.running.truth import FALSE, TRUE, UNKNOWN

HEADS = {"all": "all of these", "any": "at least one of these", "none": "none of these"}
FIRST_SHOWN = (TRUE, UNKNOWN, FALSE)


@click.command()
@click.argument("name", metavar="RULE")
@click.option("--on", "file", type=click.File("rb"), help="Requests, JSON or NDJSON, to ask RULE of; - is standard input.")
@click.option("--most", default=5, show_default=True, type=click.IntRange(0), help="Rows of each subject to show in full.")
@json_option
@rules_options
def explain(
    name: str, file: IO[bytes] | None, most: int, as_lines: bool, folder: Path | None, layers: tuple[Path, ...]
) -> None:
    """Say what RULE asks for or, with --on, why it fires, is silent or is unknown for each subject."""
    rules = loaded(folder, layers)
    every = {rule.id: rule for rule in rules.ruleset.every_rule()}
    titles = {rule.title.lower(): rule.id for rule in every.values()}
    name = titles.get(name.lower(), name)
    if name not in every:
        raise click.BadParameter(_why_unknown(name, rules, every))
    if file is None:
        described = _described(every[name], rules)
        click.echo(orjson.dumps(described) if as_lines else "\n".join(_rule_text(described, rules.ruleset.facts)))
    else:
        _explain_file(every[name], rules, file, most, as_lines)


def _why_unknown(name: str, rules: Rules, every: Mapping[str, Rule]) -> str:
    for layer in rules.ruleset.layers:
        for change in layer.changes:
            if change.off and change.id == name:
                return f"'{name}' is switched off by {layer.name}: {change.reason}"
    return f"no rule has the id or title '{name}' ({near(name, every) or '`heartlevel rules list` lists them'})"


def _described(rule: Rule, rules: Rules) -> dict[str, Any]:
    """Return what a rule asks for under the default guideline, what it makes of it, and where it comes from."""
    guideline = rules.ruleset.default_guideline
    protocol = rules.ruleset.guidelines[guideline].protocol
    scope = {other.id: other for other in rules.ruleset.rules[rule.scope]}
    facts = dict.fromkeys(term.fact.name for term in terms_of(rule.condition, scope))
    return {
        "rule": rule.id,
        "title": rule.title,
        "scope": rule.scope,
        "effect": rule.effect_name,
        "severity": rule.severity,
        "urgent": rule.urgent,
        "guideline": guideline,
        "protocol": protocol,
        "parameters": rules.ruleset.parameter_origins(rule),
        "condition": outline(rule.condition, rules.ruleset.limits(guideline, protocol), scope),
        "expected_error": {name: _shift(shift) for name, shift in rule.expected_error.items()} or None,
        "depends_on": [_fact(rules.ruleset.facts[name]) for name in facts],
        "sources": [asdict(source) for source in rule.sources],
    }


def _shift(shift: Shift) -> dict[str, Any]:
    size = {"amount": shift.amount} if shift.bounds is None else {"range": shift.bounds}
    return {"reads": shift.reads, **size}


def _fact(fact: Fact) -> dict[str, Any]:
    return {"fact": fact.name, "unit": fact.unit, "values": list(fact.names), "formula": fact.formula,
            "meaning": fact.meaning}  # fmt: skip


def _rule_text(described: dict[str, Any], catalogue: Mapping[str, Fact]) -> Iterator[str]:
    urgent = ", urgent" if described["urgent"] else ""
    yield f"{described['rule']}: {described['title']}"
    yield f"asked of each {described['scope']}; effect {described['effect']}, severity {described['severity']}{urgent}"
    yield f"\nFires where (limits of {described['guideline']}, protocol {described['protocol']})"
    yield from _tree_text(described["condition"], 1)
    if described["parameters"]:
        yield "\nParameters"
        yield from (f"  {parameter_text(parameter)}" for parameter in described["parameters"])
    if described["expected_error"]:
        yield "\nExpected error"
        yield from (f"  {pressure}: {_shift_text(shift)}" for pressure, shift in described["expected_error"].items())
    yield "\nDepends on"
    yield from (f"  {_fact_text(fact, catalogue)}" for fact in described["depends_on"])
    yield "\nSources"
    yield from (f"  {source['cite']} ({source['standing']})" for source in described["sources"])


def parameter_text(parameter: dict[str, Any]) -> str:
    """Say what a parameter is, where that is written, and who set it."""
    unit = UNITS.get(parameter["unit"] or "1", f" {parameter['unit']}")
    set_by = f"; {parameter['layer']} set it, below it was {parameter['was']}: {parameter['reason']}"
    where = f" ({parameter['file']}:{parameter['line']})"
    return f"{parameter['name']} = {parameter['value']:g}{unit}{where}{set_by if parameter['layer'] else ''}"


def _fact_text(fact: dict[str, Any], catalogue: Mapping[str, Fact]) -> str:
    unit = unit_of(catalogue[fact["fact"]]).strip() or ", ".join(fact["values"])
    formula = "" if fact["formula"] == "recorded" else f" = {fact['formula']}"
    return f"{fact['fact']}{f' ({unit})' if unit else ''}: {fact['meaning']}{formula}"


def _shift_text(shift: dict[str, Any]) -> str:
    reads = "either way" if shift["reads"] == "either" else f"reads {shift['reads']}"
    bounds = shift.get("range")
    return f"{reads}, {bounds[0]:g} to {bounds[1]:g} mmHg" if bounds else f"{reads}, by {shift['amount']}"


def _tree_text(node: Tree, depth: int) -> Iterator[str]:
    head = HEADS.get(node["kind"])
    if node["kind"] == "finding":
        head = f"the finding {node['rule']} ({node['title']})"
    outcome = f"{node['outcome']:<9}" if "outcome" in node else ""
    yield f"{outcome}{'  ' * depth}{node['text'] if head is None else head + ':'}"
    for part in node.get("parts", ()):
        yield from _tree_text(part, depth + 1)


def _explain_file(rule: Rule, rules: Rules, file: IO[bytes], most: int, as_lines: bool) -> None:
    at_fault, name = False, getattr(file, "name", "<stdin>")
    for decoded in requests_in_file(file):
        number = line_of(decoded)
        request = read_decoded(number, decoded, rules)
        if isinstance(request, Outcome):
            click.echo(f"{name}:{number}: {request.detail}", err=True)
        for fault in request.problems:
            click.echo(f"{name}:{number}: {fault}", err=True)
        at_fault |= isinstance(request, Outcome) or bool(request.problems)
        if isinstance(request, Request):
            told = _told(rule, assess_requests([request], rules), most)
            click.echo(orjson.dumps(told) if as_lines else "\n".join(_told_text(told)))
    sys.exit(FAILED if at_fault else 0)


def _told(rule: Rule, assessment: Assessment, most: int) -> dict[str, Any]:
    """Return how often a rule fires for the one subject of an assessment, and the reasons of some rows."""
    verdicts = assessment.verdicts[rule.scope]
    codes = verdicts.outcomes[[judged.id for judged in verdicts.rules].index(rule.id)].tolist()
    shown = sorted(range(len(codes)), key=lambda row: FIRST_SHOWN.index(codes[row]))[:most]
    return {
        "subject": {"id": assessment.batch.requests[0].subject["id"]},
        "rule": rule.id,
        "scope": rule.scope,
        "counts": {OUTCOMES[code]: codes.count(code) for code in FIRST_SHOWN},
        "rows": [
            {"of": _names(assessment, rule.scope, row), "outcome": OUTCOMES[codes[row]],
             **reason_of(assessment, rule, row, 0)}
            for row in shown
        ],
    }  # fmt: skip


def _names(assessment: Assessment, scope: str, row: int) -> list[str]:
    """Return what a row stands for: ids of readings or of a device; nothing for a whole series."""
    batch = assessment.batch
    match scope:
        case "reading":
            return [batch.names[row]]
        case "sitting":
            return [batch.names[reading] for reading in np.flatnonzero(batch.sitting_of == row).tolist()]
        case "device":
            return [batch.checks[row]["device"]]
    return []


def _told_text(told: dict[str, Any]) -> Iterator[str]:
    counts = ", ".join(f"{name} {count}" for name, count in told["counts"].items())
    yield f"{told['subject']['id']}  {told['rule']}, by {told['scope']}: {counts}"
    for row in told["rows"]:
        yield f"\n{row['outcome']}: {', '.join(row['of']) or 'the whole series'}"
        yield from _tree_text(row["condition"], 1)
        if row["outcome"] == "fires":
            yield _silence_text(row["silenced_by"])
    yield ""


def _silence_text(changes: list[dict[str, Any]] | None) -> str:
    if not changes:
        return "no change of facts was found that would silence it"
    return "would be silent with " + "; ".join(
        change["text"] + (f" (= {change['formula']})" if "formula" in change else "") for change in changes
    )
