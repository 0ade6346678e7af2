"""The analysis of whole rule sets: the command, and random rules against brute force."""

from dataclasses import replace
from itertools import combinations, product
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.command.rules.analyse import analyse_rules
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.ruling.language.conditions import Mention, Term, leaves_of
from heartlevel.ruling.language.reference import verdict
from heartlevel.ruling.tools.analysis import analyse
from rules.analysed import FLAG, PULSE_PRESSURE, SYSTOLIC, VALUES, conditions, said, without_rules, write
from support import examples, rules


@pytest.fixture
def folder(tmp_path) -> Path:
    return without_rules(tmp_path)


def run(folder: Path):
    return CliRunner().invoke(analyse_rules, [str(folder)])


def written_with(folder: Path, **conditions) -> None:
    """Write rules of systolic pressures alone, with examples that hold: 100 is silent, 200 fires."""
    examples = [{"given": {"systolic": 200}, "expect": "fires"}, {"given": {"systolic": 100}, "expect": "silent"}]
    write(folder, "reading", **{name: {"when": when, "examples": examples} for name, when in conditions.items()})


def test_the_command_ends_with_1_for_a_rule_that_cannot_fire_though_its_examples_hold(folder):
    # Examples may take any findings as given, so they do not show that these two never are together.
    examples = [{"given": {}, "findings": ["a", "c"], "expect": "fires"}, {"given": {}, "expect": "silent"}]
    both = {"when": {"all": [{"finding": "a"}, {"finding": "c"}]}, "examples": examples}
    high, low = ({"given": {"systolic": value}, "expect": "fires"} for value in (200, 90))
    middle = {"given": {"systolic": 120}, "expect": "silent"}
    write(folder, "reading", a={"when": {"systolic": {"above": 140}}, "examples": [high, middle]},
          c={"when": {"systolic": {"below": 100}}, "examples": [low, middle]}, b=both)  # fmt: skip
    result = run(folder)
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    assert "'B' (b) can never fire" in text
    assert "finding a; finding c" in text


def test_the_command_ends_with_1_for_rules_that_say_the_same(folder):
    written_with(folder, a={"systolic": {"at_least": 130}}, b={"none": [{"systolic": {"below": 130}}]})
    result = run(folder)
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    assert "'A' (a) and 'B' (b) say the same" in text
    assert "systolic 200 and nothing else recorded. Holds for every guideline and protocol." in text
    assert "2 rules: 1 to correct, 0 to know of, 0 not decided" in text


def test_the_command_ends_with_0_where_a_rule_is_only_implied(folder):
    written_with(folder, a={"systolic": {"at_least": 130}}, b={"systolic": {"at_least": {"limit": "severe.systolic"}}})
    result = run(folder)
    assert result.exit_code == 0
    text = " ".join(result.output.split())
    assert "Whenever 'B' (b) fires, 'A' (a) fires too." in text
    assert "where only 'A' (a) fires: systolic 130 and nothing else recorded." in text


SHIPPED = rules().ruleset
BESIDE = sorted({value + step for value in VALUES for step in (-1e-3, -1.5e-9, -5e-10, 0, 5e-10, 1.5e-9, 1e-3)})
GRID = {
    SYSTOLIC.name: [None, *(value for value in BESIDE if SYSTOLIC.low <= value <= SYSTOLIC.high)],
    PULSE_PRESSURE.name: [None, *BESIDE],
    FLAG.name: [None, 0.0, 1.0],
}


def ruleset_of(chain):
    pattern = SHIPPED.rules["reading"][0]
    built = tuple(
        replace(pattern, id=f"rule-{place}", condition=one, leaves=leaves_of(one), pattern=None, expected_error={})
        for place, one in enumerate(chain)
    )
    return replace(SHIPPED, rules={"reading": built})


def terms_below(chain, place) -> set[Term]:
    found: set[Term] = set()
    for leaf in leaves_of(chain[place]):
        found |= terms_below(chain, int(leaf.rule[-1])) if isinstance(leaf, Mention) else {leaf}
    return found


def facts_of(terms) -> set[str]:
    return {term.fact.name for term in terms}


def told_by_brute_force(chain):
    """Say what holds of a chain of rules by the plain reading alone, over all values of the grid."""
    rows = [dict(zip(GRID, values, strict=True)) for values in product(*GRID.values())]
    fires = [read(chain, row) for row in rows]
    for place in range(len(chain)):
        terms = terms_below(chain, place)
        complete = [one[place] for row, one in zip(rows, fires, strict=True) if None not in map(row.get, facts_of(terms))]
        if not any(one[place] for one in fires):
            yield "never-fires", f"rule-{place}", None
        elif all(one[place] for one in fires) or (any(one.operator != "known" for one in terms) and all(complete)):
            yield "always-fires", f"rule-{place}", None
    for first, second in combinations(range(len(chain)), 2):
        pairs = {(one[first], one[second]) for one in fires}
        if not facts_of(terms_below(chain, first)) & facts_of(terms_below(chain, second)) or (True, True) not in pairs:
            continue
        names = f"rule-{first}", f"rule-{second}"
        if (True, False) not in pairs:
            yield ("implied", *names[::-1]) if (False, True) in pairs else ("identical", *names)
        elif (False, True) not in pairs:
            yield ("implied", *names)


def read(chain, row) -> tuple[bool, ...]:
    found: dict[str, bool | None] = {}
    for place, one in enumerate(chain):
        found[f"rule-{place}"] = verdict(one, row, {}, found)
    return tuple(one is True for one in found.values())


CHAIN = st.tuples(conditions([]), conditions(["rule-0"]), conditions(["rule-0", "rule-1"]))


@settings(max_examples=examples(60), deadline=None)
@given(CHAIN)
def test_claims_on_random_rules_are_those_of_the_plain_reading_and_their_cases_show_them(chain):
    found = analyse(ruleset_of(chain))
    assert sorted(said(found), key=str) == sorted(told_by_brute_force(chain), key=str)
    for claim in found:
        first, second = (int((name or claim.rule)[-1]) for name in (claim.rule, claim.other))
        if claim.facts is not None:
            fires = read(chain, coded(claim.facts))
            assert fires[first] and fires[second]
        if claim.kind == "implied":
            fires = read(chain, coded(claim.only_rule))
            assert fires[first] and not fires[second]


def coded(facts) -> dict[str, float]:
    return {name: CATALOGUE[name].encoded(value) for name, value in facts.items()}
