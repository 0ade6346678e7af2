"""Reasons of findings: asked for over the demo, and for made-up rules and rows."""

from dataclasses import replace
from math import nextafter

import numpy as np
from hypothesis import strategies as st

from heartlevel.assessment import assess_requests
from heartlevel.columns import TOLERANCE
from heartlevel.conclusions.silencing.search import reason_of
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.intake.request import read
from heartlevel.ruling.language.conditions import Group, Limit, Mention, Term, leaves_of
from heartlevel.ruling.language.reference import verdict
from support import answer, demo, rules

RULESET = rules().ruleset
SYSTOLIC, OFFSET, AGE = (CATALOGUE[name] for name in ("systolic", "hydrostatic_offset_mmhg", "age_years"))
TALKING, LEVEL, TREATED = (CATALOGUE[name] for name in ("talking", "arm_level", "on_treatment"))
RESTED = CATALOGUE["rested_minutes"]
LIMITS = {"made.up": 6.0}


def assessed():
    return assess_requests([read(payload, RULESET.choices) for payload in demo()], rules())


def owners(assessment, scope):
    batch = assessment.batch
    return {"reading": batch.subject_of, "sitting": batch.subject_of_sitting, "device": assessment.checks.subject_of,
            "series": np.arange(len(batch.requests)), "comparison": np.arange(len(batch.requests))}[scope]  # fmt: skip


def reasons_in_the_demo():
    """Yield every rule with every row of the demo, the compiled outcomes there, and the reason."""
    whole = assessed()
    for scope, verdicts in whole.verdicts.items():
        owner = owners(whole, scope)
        for row in range(0, len(owner), 7 if scope == "reading" else 1):
            found = dict(zip([rule.id for rule in verdicts.rules], verdicts.outcomes[:, row].tolist(), strict=True))
            for rule in verdicts.rules:
                yield rule, row, found, reason_of(whole, rule, row, owner[row]), whole


BOUNDS = st.sampled_from([1.0, 2.0, 5.0, 8.0])
NUMBERS = st.sampled_from([SYSTOLIC, OFFSET, AGE])
TERMS = st.one_of(
    st.builds(lambda fact, operator, value: Term(fact, operator, (value,)), NUMBERS,
              st.sampled_from(["below", "at_most", "above", "at_least", "equals"]), BOUNDS | st.just(Limit("made.up"))),
    st.builds(lambda fact, pair: Term(fact, "between", tuple(sorted(pair))), NUMBERS, st.tuples(BOUNDS, BOUNDS)),
    st.builds(lambda fact, value: Term(fact, "known", (value,)), st.sampled_from([OFFSET, TALKING]),
              st.sampled_from([0.0, 1.0])),
    st.builds(lambda value: Term(TALKING, "equals", (value,)), st.sampled_from([0.0, 1.0])),
    st.builds(lambda value: Term(LEVEL, "equals", (value,)), st.sampled_from([0.0, 1.0, 2.0])),
)  # fmt: skip
ROWS = st.fixed_dictionaries(
    {
        **{fact.name: st.none() | st.sampled_from([1.0, 1 + 1e-12, 2.0, 3.5, 5.0, 6.0, 9.0]) for fact in (SYSTOLIC, AGE)},
        OFFSET.name: st.none() | st.sampled_from([-4.0, 0.0, 2.0, 5.0 + 1e-7, 7.0]),
        TALKING.name: st.sampled_from([None, 0.0, 1.0]),
        LEVEL.name: st.sampled_from([None, 0.0, 1.0, 2.0]),
    }
)


def conditions(*mentionable: str):
    leaf = st.one_of(TERMS, *(st.just(Mention(name)) for name in mentionable))
    group = st.sampled_from(["all", "any", "none"])
    deep = st.recursive(leaf, lambda inner: st.builds(Group, group, st.lists(inner, min_size=1, max_size=3).map(tuple)),
                        max_leaves=5)  # fmt: skip
    return deep.filter(lambda one: len(leaves_of(one)) <= 5)


CHAINS = st.tuples(conditions(), conditions("rule-0"))


def made(chain) -> dict:
    """Make rules of a chain of conditions; the second may mention the first."""
    pattern = RULESET.rules["reading"][0]
    built = (replace(pattern, id=f"rule-{place}", condition=one, leaves=leaves_of(one)) for place, one in enumerate(chain))
    return {rule.id: rule for rule in built}


def outcomes(chain, facts: dict) -> dict:
    found: dict = {}
    for place, condition in enumerate(chain):
        found[f"rule-{place}"] = verdict(condition, facts, LIMITS, found)
    return found


def full(payload: dict) -> dict:
    return answer({**payload, "options": {**payload.get("options", {}), "explain": "full"}})


def satisfying(change: dict) -> list[float]:
    """Return values that a change allows, its bounds as the language reads them, and farther ones."""
    fact, to = CATALOGUE[change["fact"]], change["to"]
    if to == {"known": True}:
        return [0.0] if fact.kind != "number" else [max(fact.low, 0.0), 50.0]
    if "one_of" in to or fact.kind != "number":
        return [fact.encoded(one) for one in to.get("one_of", [to.get("equals")])]
    near = [one for value in to.values() for one in beside(value)]
    return [one for one in near if all(verdict(Term(fact, name, (value,)), {fact.name: one}, {}, {})
                                       for name, value in to.items())]  # fmt: skip


def beside(value: float) -> list[float]:
    edges = [value, nextafter(value - TOLERANCE, -np.inf), nextafter(value + TOLERANCE, np.inf)]
    return [*edges, value - TOLERANCE / 2, value + TOLERANCE / 2, value - 0.5, value + 0.5]
