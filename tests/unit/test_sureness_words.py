"""One probability has the word that it has among many."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from heartlevel.conclusions.sureness import word_of, words_of
from support import rules

LIMITS = rules().ruleset.sureness
AT_LIMITS = st.sampled_from([LIMITS.probable, LIMITS.almost_certain])
NEAR = st.builds(np.nextafter, AT_LIMITS, st.sampled_from([0.0, 1.0])).map(float)


@given(st.floats(0, 1) | AT_LIMITS | NEAR | st.just(float("nan")))
def test_a_word_does_not_depend_on_whether_it_is_looked_up_alone(probability):
    assert word_of(probability, LIMITS) == words_of(np.array([probability]), LIMITS)[0]
