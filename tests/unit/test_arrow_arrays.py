"""What is made of bytes is what Arrow itself makes of the same values (`pyarrow.array`, `pyarrow.Array.to_numpy`)."""

import numpy as np
import pyarrow
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heartlevel.tables.arrow.arrays import as_arrow, as_numpy, texts_as_arrow

NUMBERS = {"int64": st.integers(-(2**63), 2**63 - 1), "int32": st.integers(-(2**31), 2**31 - 1), "bool": st.booleans(),
           "float64": st.floats()}  # fmt: skip
CELLS = [(kind, st.lists(st.tuples(numbers, st.booleans()), max_size=40)) for kind, numbers in NUMBERS.items()]
UNTIMED = settings(deadline=None)  # the first example imports pandas


@st.composite
def columns(draw) -> tuple[np.ndarray, np.ndarray]:
    kind, cells = draw(st.sampled_from(CELLS))
    rows = draw(cells)
    return np.array([value for value, _ in rows], dtype=kind), np.array([missing for _, missing in rows], dtype=bool)


@UNTIMED
@given(columns())
def test_numbers_and_truths_are_those_of_arrow(column):
    values, missing = column
    assert as_arrow(values).equals(pyarrow.array(values, from_pandas=True))
    assert as_arrow(values, missing).equals(pyarrow.array(values, mask=missing | (values != values)))
    as_arrow(values, missing).validate(full=True)


@UNTIMED
@given(st.lists(st.none() | st.text(st.characters(exclude_categories=["Cs"])), max_size=40))
def test_texts_are_those_of_arrow(texts):
    made = texts_as_arrow(texts)
    made.validate(full=True)
    assert made.equals(pyarrow.array(texts, pyarrow.string()))


def test_half_a_character_is_no_text():
    with pytest.raises(UnicodeEncodeError):
        texts_as_arrow(["\ud800"])


@UNTIMED
@given(columns(), st.integers(0, 9))
def test_numbers_come_back_whatever_part_of_them_is_asked_for(column, start):
    values, missing = column
    cells = pyarrow.array(values, mask=missing)[start:]
    given_back = as_numpy(cells, 0)
    np.testing.assert_array_equal(given_back, np.where(missing, 0, values)[start:])
    whole = pyarrow.array(values)[start:]
    np.testing.assert_array_equal(as_numpy(whole), whole.to_numpy(zero_copy_only=False))
    assert as_numpy(whole).dtype == values.dtype
