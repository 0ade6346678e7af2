"""Rules judged: facts compared with the intervals of conditions, and patterns of outcomes looked up in truth tables.

`outcomes` has a row a leaf, which is a term or, after the terms, a rule; and a column a row of the scope (a reading, say).
`same` has the outcome of a leaf that has the same in all of them, as where a fact was recorded nowhere, else DIFFERENT.
"""

from collections.abc import Sequence

from heartlevel.kernels.arrays import Codes, Floats, Ints, Marks, Outcomes

FALSE, TRUE, UNKNOWN = 0, 1, 2
DIFFERENT = -1


def compare(
    columns: Sequence[Floats], first_term: Ints, low: Floats, high: Floats, when_unknown: Outcomes,
    starts: Ints, profiles: Ints, outcomes: Outcomes, same: Outcomes,
) -> None:  # fmt: skip
    """Compare each fact's column with the intervals of its terms, ends included.

    `first_term` has where each fact's terms begin, and their number. `low` and `high` have a row a term and a column a
    profile, NaN where a limit is not published. Rows from each of `starts` to the next are of the profile beside it.
    """
    for fact in range(len(columns)):
        values = columns[fact]
        recorded = _any_known(values)
        for term in range(first_term[fact], first_term[fact + 1]):
            same[term] = DIFFERENT if recorded else when_unknown[term]
            if not recorded:
                _fill(outcomes, term, 0, outcomes.shape[1], when_unknown[term])
                continue
            for stretch in range(profiles.shape[0]):
                start, stop = starts[stretch], starts[stretch + 1]
                least, most = low[term, profiles[stretch]], high[term, profiles[stretch]]
                if least == least:
                    _compare(values, start, stop, least, most, when_unknown[term], outcomes, term)
                else:
                    _fill(outcomes, term, start, stop, UNKNOWN)


def _any_known(values: Floats) -> bool:
    row = 0
    while row < len(values) and values[row] != values[row]:
        row += 1
    return row < len(values)


def _fill(outcomes: Outcomes, leaf: int, start: int, stop: int, outcome: int) -> None:
    for row in range(start, stop):
        outcomes[leaf, row] = outcome


def _compare(
    values: Floats, start: int, stop: int, least: float, most: float, when_unknown: int, outcomes: Outcomes, term: int
) -> None:
    for row in range(start, stop):
        outcome = FALSE
        if values[row] >= least and values[row] <= most:
            outcome = TRUE
        elif values[row] != values[row]:
            outcome = when_unknown
        outcomes[term, row] = outcome


def decide(
    outcomes: Outcomes, terms: int, leaves: Ints, first_leaf: Ints, tables: Outcomes, first_entry: Ints, same: Outcomes,
    patterns: Codes,
) -> None:  # fmt: skip
    """Look every rule up in its truth table, in their order: those that a rule mentions come before it.

    `leaves` are rows of `outcomes`, rule after rule, `tables` likewise; `first_leaf` and `first_entry` have where each
    rule's begin, and at last their number. `patterns` is room for a number a row.
    """
    for rule in range(first_leaf.shape[0] - 1):
        first, last = first_leaf[rule], first_leaf[rule + 1]
        pattern = _same_pattern(leaves, first, last, same)
        if pattern == DIFFERENT:
            same[terms + rule] = DIFFERENT
            _read_patterns(outcomes, leaves, first, last, patterns)
            _look_up(patterns, tables, first_entry[rule], outcomes, terms + rule)
        else:
            same[terms + rule] = tables[first_entry[rule] + pattern]
            _fill(outcomes, terms + rule, 0, outcomes.shape[1], same[terms + rule])


def _same_pattern(leaves: Ints, first: int, last: int, same: Outcomes) -> int:
    """Return the pattern of a rule whose leaves have one outcome each in all rows, or DIFFERENT."""
    pattern = 0
    for digit in range(last - 1, first - 1, -1):
        if same[leaves[digit]] == DIFFERENT:
            return DIFFERENT
        pattern = pattern * 3 + same[leaves[digit]]
    return pattern


def _read_patterns(outcomes: Outcomes, leaves: Ints, first: int, last: int, patterns: Codes) -> None:
    """Read the outcomes of a rule's leaves as a number of base 3, the first leaf's being the last digit."""
    for row in range(patterns.shape[0]):
        patterns[row] = 0
    for digit in range(last - 1, first - 1, -1):
        leaf = leaves[digit]
        for row in range(patterns.shape[0]):
            patterns[row] = patterns[row] * 3 + outcomes[leaf, row]


def _look_up(patterns: Codes, tables: Outcomes, entry: int, outcomes: Outcomes, leaf: int) -> None:
    for row in range(patterns.shape[0]):
        outcomes[leaf, row] = tables[entry + patterns[row]]


def mark_wanting(
    outcomes: Outcomes, terms: int, leaves: Ints, first_leaf: Ints, fact_of: Ints, unlimited: Marks, profile: Ints,
    wanting: Marks,
) -> None:  # fmt: skip
    """Mark the facts (a row each) for want of which a rule is unknown, in each row of the scope (a column).

    What is compared with a limit that is not published (`unlimited`, a row a term and a column a profile) is not wanting:
    no fact would decide it. `profile` is that of each row of the scope.
    """
    for rule in range(first_leaf.shape[0] - 1):
        for row in range(profile.shape[0]):
            if outcomes[terms + rule, row] == UNKNOWN:
                for digit in range(first_leaf[rule], first_leaf[rule + 1]):
                    leaf = leaves[digit]
                    if leaf < terms and outcomes[leaf, row] == UNKNOWN and not unlimited[leaf, profile[row]]:
                        wanting[fact_of[leaf], row] = 1
