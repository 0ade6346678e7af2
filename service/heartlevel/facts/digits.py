"""Facts of a series about the last digits of its values: measured pressures have no favourites among them."""

from dataclasses import dataclass

import numpy as np

from heartlevel.columns import Floats, count_by, moments_by
from heartlevel.facts.catalogue import fact
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME

DIGITS, EVEN_DIGITS = 10, 5
# A chi-square of ten digits needs 5 expected in each; and with little spread the last digits of honest readings are uneven:
# of normal values with standard deviation s they vary by up to 2·exp(−2π²s²/100) of a tenth, which is 1.4 % at 5.
FEWEST, LEAST_SD = 50, 5.0


@dataclass(frozen=True, slots=True)
class _Ends:
    counts: Floats  # subjects × digits
    size: Floats  # readings counted
    enough: Floats  # 1, or NaN where there are too few readings or they vary too little


def _ends(facts: Subjects) -> _Ends | None:
    """Count the last digits of each subject's usable home readings; values that are no whole mmHg were converted.

    None where no subject of the batch can have enough of them.
    """
    if facts.source.batch.size < FEWEST:
        return None
    batch, systolic = facts.source.batch, facts.source.batch.readings["systolic"]
    rows = facts.source.rows(HOME) & (systolic == np.floor(systolic))
    owner, values, subjects = batch.subject_of[rows], systolic[rows], len(batch.requests)
    counts = count_by(owner * DIGITS + (values % DIGITS).astype(np.int64), subjects * DIGITS).reshape(subjects, DIGITS)
    size = counts.sum(axis=1)
    _, sd, _ = moments_by(owner, subjects, values)
    return _Ends(counts, size, np.where((size >= FEWEST) & (sd >= LEAST_SD), 1.0, np.nan))


def _unknown(facts: Subjects) -> Floats:
    return np.full(len(facts.source.batch.requests), np.nan)


@fact("series", "5 if all last digits are even, else 10; unknown where home_end_digit_chi2 is", unit="1", asked=False)
def home_end_digits(facts: Subjects) -> Floats:
    """Last digits that the scale offers: a column of mercury is read to the nearest even one."""
    ends = _ends(facts)
    if ends is None:
        return _unknown(facts)
    odd = ends.counts[:, 1::2].sum(axis=1)
    return np.where(odd > 0, DIGITS, EVEN_DIGITS) * ends.enough


@fact("series", "Σ (count − expected)² / expected over the home_end_digits, of whole systolic values; unknown below 50 "
      "usable home readings, or for a standard deviation below 5 mmHg", unit="1", asked=False)  # fmt: skip
def home_end_digit_chi2(facts: Subjects) -> Floats:
    """How unevenly the last digits of systolic home readings are spread: chi-square, home_end_digits − 1 degrees."""
    ends = _ends(facts)
    if ends is None:
        return _unknown(facts)
    with np.errstate(invalid="ignore", divide="ignore"):
        # The expected counts are equal, so the sum is that of the squares over the expected, less the size.
        chi2: Floats = (ends.counts**2).sum(axis=1) * facts["home_end_digits"] / ends.size - ends.size
    return chi2
