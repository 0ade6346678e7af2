"""What the proof takes for the same case is the same: conditions with the same comparisons at the same places."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.ruling.language.conditions import Group, Limit, Mention, Term, leaves_of
from heartlevel.ruling.safety.proof import _in_figures, _signatures
from support import examples, rules

SHIPPED = rules().ruleset
PROFILE = next(iter(SHIPPED.guidelines)), next(iter(SHIPPED.protocols))
RULE = next(rule for rule in SHIPPED.rules["reading"] if not any(isinstance(leaf, Mention) for leaf in rule.leaves))
LIMITS = SHIPPED.limits(*PROFILE)
# Few different ones, so that some stand several times in a condition; a limit by its name, and its figure.
VALUES = [1.0, 2.0, Limit("severe.systolic"), LIMITS["severe.systolic"]]
TERMS = st.builds(lambda value: Term(SHIPPED.facts["systolic"], "above", (value,)), st.sampled_from(VALUES))
CONDITIONS = st.recursive(
    TERMS,
    lambda parts: st.builds(Group, st.sampled_from(["all", "any"]), st.lists(parts, min_size=2, max_size=3).map(tuple)),
    max_leaves=4,
)


def signature(condition):
    rule = replace(RULE, condition=condition, leaves=leaves_of(condition))
    return _signatures(SHIPPED, rule)(PROFILE)


@settings(max_examples=examples(400), deadline=None)
@given(CONDITIONS, CONDITIONS)
def test_two_conditions_have_the_same_signature_where_they_are_the_same_in_figures(first, second):
    same = _in_figures(SHIPPED, first, PROFILE) == _in_figures(SHIPPED, second, PROFILE)
    assert (signature(first) == signature(second)) == same


def test_a_comparison_that_stands_twice_has_its_value_at_both_places():
    below, above = (Term(SHIPPED.facts["systolic"], "above", (value,)) for value in (1.0, 2.0))
    assert signature(Group("any", (below, above, below))) != signature(Group("any", (below, above, above)))
