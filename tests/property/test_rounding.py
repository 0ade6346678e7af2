"""Numbers of a whole array leave as each of them alone would."""

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as some

from heartlevel.conclusions.numbers import FEW, all_rounded, mappings_rounded, rounded

TIES = some.integers(-4000, 4000).map(lambda eighths: eighths / 8)
NUMBERS = some.one_of(TIES, some.floats(-400, 400), some.floats(allow_infinity=False))


@given(some.lists(NUMBERS, max_size=30), some.integers(0, 4))
@example([0.15, 2.675, 128.25, 128.75, -0.04, -0.0, 1e300, float("nan")], 1)
def test_an_array_is_rounded_as_its_values_are_one_by_one(values, places):
    for these in (values, values + [0.0] * FEW):  # few and many are rounded in different ways
        assert repr(all_rounded(np.array(these), places)) == repr([rounded(one, places) for one in these])


def test_the_nesting_is_that_of_the_array():
    assert all_rounded(np.array([[1.26, np.nan], [-0.01, 7]])) == [[1.3, None], [0.0, 7.0]]


@given(some.lists(some.dictionaries(some.sampled_from("abcdef"), NUMBERS)))
def test_mappings_are_rounded_as_their_numbers_are_one_by_one(mappings):
    each = [{name: rounded(number, 3) for name, number in mapping.items()} for mapping in mappings]
    assert repr(mappings_rounded(mappings, 3)) == repr(each)
