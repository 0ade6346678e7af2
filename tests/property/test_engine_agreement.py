"""The rule engine's tables, the compiled columns and the plain reading of the language agree."""

from dataclasses import replace
from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE
from heartlevel.ruling.language.conditions import Group, Limit, Mention, Term, leaves_of, shape_of
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.running.truth import truth_tables
from heartlevel.ruling.running.verdicts import Program
from support import examples, rules

CODES = {0: False, 1: True, 2: None}
SHIPPED = rules().ruleset
NUMBERS = [CATALOGUE[name] for name in ("systolic", "diastolic", "pulse_pressure")]
FLAG, CHOICE = CATALOGUE["talking"], CATALOGUE["body_position"]
VALUES = st.sampled_from([79.0, 80.0, 80.1, 119.9, 120.0, 135.0])
# Of these, NICE publishes the first and does not publish the second.
LIMITS = [Limit("ambulatory-day.hypertension.systolic"), Limit("ambulatory-night.hypertension.systolic")]
NICE = ("nice-ng136", "nice-ng136")
TERMS = st.one_of(
    st.builds(lambda fact, operator, value: Term(fact, operator, (value,)), st.sampled_from(NUMBERS),
              st.sampled_from(["below", "at_most", "above", "at_least", "equals"]), VALUES),
    st.builds(lambda fact, ends: Term(fact, "between", tuple(sorted(ends))), st.sampled_from(NUMBERS),
              st.tuples(VALUES, VALUES)),
    st.builds(lambda fact, operator, limit: Term(fact, operator, (limit,)), st.sampled_from(NUMBERS),
              st.sampled_from(["below", "at_most", "above", "at_least", "equals"]), st.sampled_from(LIMITS)),
    st.builds(lambda fact, low, limit: Term(fact, "between", (low, limit)), st.sampled_from(NUMBERS),
              st.just(79.0), st.sampled_from(LIMITS)),
    st.builds(lambda fact, known: Term(fact, "known", (known,)), st.sampled_from([*NUMBERS, FLAG, CHOICE]),
              st.sampled_from([0.0, 1.0])),
    st.builds(lambda value: Term(FLAG, "equals", (value,)), st.sampled_from([0.0, 1.0])),
    st.builds(lambda value: Term(CHOICE, "equals", (value,)), st.sampled_from([0.0, 1.0, 2.0])),
)  # fmt: skip
KINDS = st.sampled_from(["all", "any", "none"])


def conditions(mentionable):
    leaf = TERMS | st.sampled_from([Mention(name) for name in mentionable]) if mentionable else TERMS
    return st.recursive(
        leaf,
        lambda inner: st.builds(Group, KINDS, st.lists(inner, min_size=1, max_size=3).map(tuple)),
        max_leaves=5,
    ).filter(lambda one: len(leaves_of(one)) <= 5)


ROW = st.fixed_dictionaries(
    {
        **{fact.name: st.none() | VALUES for fact in NUMBERS},
        FLAG.name: st.sampled_from([None, 0.0, 1.0]),
        CHOICE.name: st.sampled_from([None, 0.0, 1.0, 2.0]),
    }
)
CHAIN = st.tuples(conditions([]), conditions(["rule-0"]), conditions(["rule-0", "rule-1"]))


def program_of(chain):
    """Compile a chain of conditions, each free to mention those before it, as rules of scope reading."""
    pattern = SHIPPED.rules["reading"][0]
    built = tuple(
        replace(pattern, id=f"rule-{place}", condition=condition, leaves=leaves_of(condition))
        for place, condition in enumerate(chain)
    )
    return Program(replace(SHIPPED, rules={**SHIPPED.rules, "reading": built}), "reading")


@settings(max_examples=examples(100), deadline=None)
@given(CHAIN, st.lists(ROW, min_size=1, max_size=30))
def test_engine_columns_and_plain_reading_agree_on_chained_conditions(chain, rows):
    program = program_of(chain)  # asks the engine
    columns = {name: np.array([row[name] for row in rows], dtype=np.float64) for name in rows[0]}
    profile = np.full(len(rows), program.profiles[NICE], dtype=np.int64)
    outcomes, limits = program.judge(columns.__getitem__, profile).outcomes, SHIPPED.limits(*NICE)
    for place, row in enumerate(rows):
        found: dict[str, bool | None] = {}
        for rule in program.rules:
            found[rule.id] = verdict(rule.condition, row, limits, found)
        assert [CODES[code] for code in outcomes[:, place].tolist()] == list(found.values()), row


def test_a_scope_without_rules_has_no_outcomes():
    program = Program(replace(SHIPPED, rules={**SHIPPED.rules, "reading": ()}), "reading")
    for rows in (0, 1, 513):
        profile = np.full(rows, program.profiles[NICE], dtype=np.int64)
        assert program.judge({}.__getitem__, profile).outcomes.shape == (0, rows)


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(conditions(["a", "b"]), min_size=1, max_size=6))
def test_the_engines_tables_say_what_the_language_means_for_every_pattern(several):
    tables = truth_tables([shape_of(one, leaves_of(one)) for one in several])
    for condition, table in zip(several, tables, strict=True):
        leaves = leaves_of(condition)
        stand_in = _with_mentions(condition, leaves)
        assert len(table) == 3 ** len(leaves)
        for place, digits in enumerate(product((0, 1, 2), repeat=len(leaves))):
            given_ = {f"leaf-{number}": CODES[value] for number, value in enumerate(digits[::-1])}
            assert CODES[int(table[place])] == verdict(stand_in, {}, {}, given_)


def _with_mentions(condition, leaves):
    if isinstance(condition, Group):
        return Group(condition.kind, tuple(_with_mentions(part, leaves) for part in condition.parts))
    return Mention(f"leaf-{leaves.index(condition)}")


def interesting(scope, profile):
    """For each fact a scope's rules compare: the values compared with, those just beside, and unknown."""
    limits = SHIPPED.limits(*profile)
    found: dict[str, list[float]] = {}
    for rule in SHIPPED.rules[scope]:
        for leaf in rule.leaves:
            if isinstance(leaf, Term):
                values = found.setdefault(leaf.fact.name, [np.nan, 0.0])
                for one in leaf.values:
                    value = one if isinstance(one, float) else limits[one.name]
                    value = 120.0 if np.isnan(value) else value  # no limit published: any value will do
                    near = (value - 0.1, value - 1e-12, value, value + 1e-12, value + 0.1)
                    beside = near if leaf.fact.kind == "number" else (value,)
                    values += beside
                if leaf.fact.kind == "flag":
                    values.append(1.0)
                if leaf.fact.kind == "choice":
                    values += [float(place) for place in range(len(leaf.fact.names))]
    return found


@settings(max_examples=examples(60), deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(sorted(VISIBLE)))
def test_the_shipped_rules_agree_row_by_row_with_the_plain_reading(seed, scope):
    source, program = np.random.default_rng(seed), rules().programs[scope]
    pairs = list(program.profiles)
    pair = pairs[source.integers(len(pairs))]
    values, limits, rows = interesting(scope, pair), SHIPPED.limits(*pair), 60
    columns = {name: source.choice(several, rows) for name, several in values.items()}
    profile = np.full(rows, program.profiles[pair], dtype=np.int64)
    outcomes = program.judge(columns.__getitem__, profile).outcomes
    for place in range(rows):
        row = {name: None if np.isnan(column[place]) else float(column[place]) for name, column in columns.items()}
        found: dict[str, bool | None] = {}
        for rule in program.rules:
            found[rule.id] = verdict(rule.condition, row, limits, found)
        ours = dict(zip(found, (CODES[code] for code in outcomes[:, place].tolist()), strict=True))
        assert ours == found


def test_limits_of_every_guideline_are_known_to_every_condition():
    for guideline, protocol in rules().programs["reading"].profiles:
        limits = SHIPPED.limits(guideline, protocol)
        for rule in SHIPPED.every_rule():
            named = [one.name for leaf in rule.leaves if isinstance(leaf, Term) for one in leaf.values
                     if not isinstance(one, float)]  # fmt: skip
            assert set(named) <= set(limits), rule.id
