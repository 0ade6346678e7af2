import pytest

from heartlevel.ruling.examples import examples_of, outcome_of
from support import rules

EXAMPLES = list(examples_of(rules().ruleset))


@pytest.mark.parametrize(("rule", "example"), EXAMPLES, ids=lambda one: getattr(one, "id", None))
def test_every_example_beside_a_rule_comes_out_as_written(rule, example):
    assert outcome_of(rules().ruleset, rules().programs[rule.scope], rule, example) == example["expect"]


def test_there_are_examples():
    assert EXAMPLES
