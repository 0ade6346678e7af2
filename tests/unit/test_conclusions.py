"""What is concluded is concluded in one place: answers and tables say what it says, and decide nothing themselves."""

import ast
import importlib
from dataclasses import replace
from functools import cached_property
from inspect import isfunction
from pathlib import Path

import numpy as np
import pytest

import heartlevel
from heartlevel.answer.result_columns.coded import joined_tables
from heartlevel.answer.result_tables import findings_columns, subjects_columns
from heartlevel.answer.whole import answers
from heartlevel.assessment import assess_requests
from heartlevel.conclusions.category import NO_SETTING, TOO_YOUNG
from heartlevel.conclusions.conclude import Conclusions, conclude
from heartlevel.conclusions.pattern import LABELS
from heartlevel.intake.request import read
from support import demo, rules

PACKAGE = Path(heartlevel.__file__).parent
# What is written of conclusions.
WRITERS = [*sorted((PACKAGE / "answer").glob("*.py")), PACKAGE / "command" / "summary.py"]
ORDERING = (ast.Lt, ast.LtE, ast.Gt, ast.GtE)
OF_NUMPY = {"less", "less_equal", "greater", "greater_equal", "minimum", "maximum", "fmin", "fmax", "clip", "searchsorted",
            "digitize", "argmin", "argmax"}  # fmt: skip
DECIDING = tuple(f"heartlevel.{name}" for name in ("statistics", "facts", "ruling"))


def decided_in(source: str) -> list[str]:
    """Return where a module compares by size, and the functions it takes from where numbers are made or judged."""
    return [decided for node in ast.walk(ast.parse(source)) for decided in decided_by(node)]


def decided_by(node: ast.AST) -> list[str]:
    match node:
        case ast.Compare() if any(isinstance(operator, ORDERING) for operator in node.ops):
            return [ast.unparse(node)]
        case ast.Attribute(attr=name) if name in OF_NUMPY:
            return [ast.unparse(node)]
        case ast.Import():
            return [item.name for item in node.names if item.name.startswith(DECIDING)]
        case ast.ImportFrom(module=str(module)) if module.startswith(DECIDING):
            names, holder = [item.name for item in node.names], importlib.import_module(module)
            return [f"{module}.{name}" for name in names if isfunction(getattr(holder, name))]
    return []


@pytest.mark.parametrize("path", WRITERS, ids=lambda path: path.stem)
def test_who_writes_decides_nothing(path):
    assert decided_in(path.read_text()) == []


@pytest.mark.parametrize(
    ("source", "decided"),
    [
        ("raised = mean >= limit", ["mean >= limit"]),
        ("def f(days):\n    return None if days < 3 else days", ["days < 3"]),
        ("high = np.greater(mean, 130)", ["np.greater"]),
        ("from heartlevel.statistics.sureness.more_days import SURE, days_ahead",
         ["heartlevel.statistics.sureness.more_days.days_ahead"]),
        ("from heartlevel.facts.catalogue import Fact, fact", ["heartlevel.facts.catalogue.fact"]),
        ("import heartlevel.statistics.sureness.patterns", ["heartlevel.statistics.sureness.patterns"]),
        ("from heartlevel.statistics.averages import QUANTITIES\nsame = row == 3 or name in names", []),
    ],
)  # fmt: skip
def test_a_decision_is_found(source, decided):
    assert decided_in(source) == decided


@pytest.fixture(scope="module")
def assessment():
    return assess_requests([read(payload, rules().ruleset.choices) for payload in demo()], rules())


def said(assessment) -> dict[str, tuple[list, list]]:
    """Return what answers say of each subject, and what tables do."""
    whole = list(answers(assessment))
    table = joined_tables([subjects_columns(conclude(assessment))])
    classified = [answer["classification"] for answer in whole]
    sides = {
        "urgent": [answer["urgent"] for answer in whole],
        "pattern": [answer["pattern"]["label"] for answer in whole],
        "holds": [one.get("holds", False) for one in classified],
        **{name: [one.get(name) for one in classified] for name in ("category", "setting", "reason")},
    }
    return {name: (told, table[name].tolist()) for name, told in sides.items()}


def test_answers_and_tables_say_the_same_of_every_subject_of_the_demo(assessment):
    for name, (answered, tabled) in said(assessment).items():
        assert answered == tabled, name
        assert len(set(answered)) > 1, name


def overridden(monkeypatch, name: str, change) -> None:
    """Have a conclusion be another one than it is."""
    real = getattr(Conclusions, name).func
    altered = cached_property(lambda self: change(real(self)))
    altered.__set_name__(Conclusions, name)
    monkeypatch.setattr(Conclusions, name, altered)


def nobody_classified(categories):
    nobody = np.zeros_like(categories.holds)
    return replace(categories, setting=np.full_like(categories.setting, NO_SETTING), holds=nobody,
                   category=np.full_like(categories.category, -1),
                   reason=np.full_like(categories.reason, TOO_YOUNG))  # fmt: skip


@pytest.mark.parametrize(
    ("name", "change", "fields"),
    [
        ("urgent", np.logical_not, ["urgent"]),
        ("pattern", lambda labels: (labels + 1) % len(LABELS), ["pattern"]),
        ("category", lambda all_: replace(all_, holds=~all_.holds & (all_.setting != NO_SETTING)), ["holds"]),
        ("category", nobody_classified, ["category", "setting", "reason", "holds"]),
    ],
)
def test_another_conclusion_changes_answers_and_tables_alike(monkeypatch, assessment, name, change, fields):
    before = said(assessment)
    overridden(monkeypatch, name, change)
    after = said(assessment)
    for field, (answered, tabled) in after.items():
        assert answered == tabled, field
        assert (answered != before[field][0]) == (field in fields), field


def test_findings_of_answers_and_tables_come_of_the_same_firings(monkeypatch, assessment):
    def both() -> tuple[set, set]:
        told = {(answer["subject"]["id"], finding["rule"]) for answer in answers(assessment)
                for finding in answer["findings"]}  # fmt: skip
        table = joined_tables([findings_columns(conclude(assessment))])
        return told, set(zip(table["subject"].tolist(), table["rule"].tolist(), strict=True))

    told, tabled = both()
    assert told == tabled
    overridden(monkeypatch, "firings", lambda firings: firings[::2])
    fewer, fewer_tabled = both()
    assert fewer == fewer_tabled
    assert fewer < told
