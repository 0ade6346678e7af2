"""What tests of the analysis share."""

import json
import shutil
from pathlib import Path

from hypothesis import strategies as st

from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.resources import shipped
from heartlevel.ruling.language.conditions import Group, Mention, Term
from heartlevel.vocabulary import SCOPES
from support import without_worded_rules


def without_rules(tmp_path: Path) -> Path:
    """The shipped guidelines, protocols and wording without any rule."""
    copy = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    for scope in SCOPES:
        shutil.rmtree(copy / scope)
    without_worded_rules(copy)
    return copy


def write(folder: Path, scope: str, **conditions) -> None:
    """Write rules a scope, each a condition or a mapping with `when` and more; their examples are of no account here."""
    written = []
    for name, given_ in conditions.items():
        more = given_ if "when" in given_ else {"when": given_}
        examples = [{"given": {}, "expect": "fires"}, {"given": {}, "expect": "silent"}]
        written.append({
            "id": name, "scope": scope, "effect": "none", "severity": "low", "title": name.upper(), "explanation": "None.",
            "advice": "None.", "sources": [{"cite": "none", "standing": "common-practice"}], "examples": examples, **more,
        })  # fmt: skip
    (folder / scope).mkdir(exist_ok=True)
    (folder / scope / "all.yaml").write_text(json.dumps(written))  # JSON is YAML


def said(found) -> list[tuple[str, str, str | None]]:
    return [(one.kind, one.rule, one.other) for one in found]


SYSTOLIC, PULSE_PRESSURE, FLAG = (CATALOGUE[name] for name in ("systolic", "pulse_pressure", "talking"))
# Neighbours so close that only their tolerances part them are among the values.
VALUES = (1.0, 80.0, 80.000000001, 80.1, 120.0, 400.0)
OPERATORS = st.sampled_from(["below", "at_most", "above", "at_least", "equals"])
BOUNDED = st.builds(lambda operator, value: Term(SYSTOLIC, operator, (value,)), OPERATORS, st.sampled_from(VALUES))
FREE = st.builds(lambda ends: Term(PULSE_PRESSURE, "between", tuple(sorted(ends))),
                 st.tuples(st.sampled_from(VALUES), st.sampled_from(VALUES)))  # fmt: skip
FLAGS = st.builds(lambda value: Term(FLAG, "equals", (value,)), st.sampled_from([0.0, 1.0]))
KNOWN = st.builds(lambda fact, value: Term(fact, "known", (value,)), st.sampled_from([SYSTOLIC, PULSE_PRESSURE, FLAG]),
                  st.sampled_from([0.0, 1.0]))  # fmt: skip


def conditions(mentionable):
    leaf = BOUNDED | FREE | FLAGS | KNOWN
    if mentionable:
        leaf |= st.sampled_from([Mention(name) for name in mentionable])
    groups = st.builds(Group, st.sampled_from(["all", "any", "none"]), st.lists(leaf, min_size=1, max_size=3).map(tuple))
    return leaf | groups
