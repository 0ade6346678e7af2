"""Facts of a series about the last digits of its values: measured pressures have no favourites among them."""

import numpy as np

from heartlevel.columns import Floats, count_by, moments_by
from heartlevel.facts.catalogue import fact
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME

DIGITS, EVEN_DIGITS = 10, 5
# A chi-square of ten digits needs 5 expected in each; and with little spread the last digits of honest readings are uneven:
# of normal values with standard deviation s they vary by up to 2·exp(−2π²s²/100) of a tenth, which is 1.4 % at 5.
FEWEST, LEAST_SD = 50, 5.0


def _end_digits(facts: Subjects) -> Floats:
    """Count the last digits (subjects × digits) of usable home readings; values that are no whole mmHg were converted.

    NaN where there are too few readings or they vary too little.
    """
    series, subjects = facts.source, len(facts.source.batch.requests)
    if series.batch.size < FEWEST:
        return np.full((subjects, DIGITS), np.nan)
    systolic = series.batch.readings["systolic"]
    rows = series.rows(HOME) & (systolic == np.floor(systolic))
    owner, values = series.batch.subject_of[rows], systolic[rows]
    counts = count_by(owner * DIGITS + (values % DIGITS).astype(np.int64), subjects * DIGITS).reshape(subjects, DIGITS)
    _, sd, size = moments_by(owner, subjects, values)
    return np.where(((size >= FEWEST) & (sd >= LEAST_SD))[:, None], counts, np.nan)


@fact("series", "5 if all last digits are even, else 10; unknown where home_end_digit_chi2 is", unit="1", asked=False)
def home_end_digits(facts: Subjects) -> Floats:
    """Last digits that the scale offers: a column of mercury is read to the nearest even one."""
    odd = facts.once(_end_digits)[:, 1::2].sum(axis=1)
    return np.select([odd > 0, odd == 0], [DIGITS, EVEN_DIGITS], np.nan)


@fact("series", "Σ (count − expected)² / expected over the home_end_digits, of whole systolic values; unknown below 50 "
      "usable home readings, or for a standard deviation below 5 mmHg", unit="1", asked=False)  # fmt: skip
def home_end_digit_chi2(facts: Subjects) -> Floats:
    """How unevenly the last digits of systolic home readings are spread: chi-square, home_end_digits − 1 degrees."""
    counts = facts.once(_end_digits)
    size = counts.sum(axis=1)
    # The expected counts are equal, so the sum is that of the squares over the expected, less the size.
    chi2: Floats = (counts**2).sum(axis=1) * facts["home_end_digits"] / size - size
    return chi2
