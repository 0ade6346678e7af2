"""Facts of a series about rounded and copied values: measured ones have no favourite last digits, and seldom repeat.

The chi-square of last digits takes fifty readings; exact chances of round ends and of equal sittings do with a week.
"""

from functools import partial

import numpy as np
from scipy.special import betainc

from heartlevel.columns import Bools, Floats, count_by, first_case, moments_by, run_starts, sum_by
from heartlevel.facts.catalogue import derived, derived_both, fact
from heartlevel.facts.comparison import first_home_pairs
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME
from heartlevel.vocabulary import PRESSURES

DIGITS, EVEN_DIGITS = 10, 5
# A chi-square of ten digits needs 5 expected in each; and with little spread the last digits of honest readings are uneven:
# of normal values with standard deviation s they vary by up to 2·exp(−2π²s²/100) of a tenth, which is 1.4 % at 5.
FEWEST, LEAST_SD = 50, 5.0
FEWEST_EXACT, FEWEST_SITTINGS = 12, 6
TENS, FIVES, EVEN = 10, 5, 2
WAVES = np.arange(1, 11)  # of a share's dependence on the spread; further ones are nothing above 0.3 mm[Hg]


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
    return first_case([(odd > 0, DIGITS), (odd == 0, EVEN_DIGITS)], np.nan)


@fact("series", "Σ (count − expected)² / expected over the home_end_digits, of whole systolic values; unknown below 50 "
      "usable home readings, or for a standard deviation below 5 mmHg", unit="1", asked=False)  # fmt: skip
def home_end_digit_chi2(facts: Subjects) -> Floats:
    """How unevenly the last digits of systolic home readings are spread: chi-square, home_end_digits − 1 degrees."""
    counts = facts.once(_end_digits)
    size = counts.sum(axis=1)
    # The expected counts are equal, so the sum is that of the squares over the expected, less the size.
    chi2: Floats = (counts**2).sum(axis=1) * facts["home_end_digits"] / size - size
    return chi2


def tail(count: Floats, size: Floats, share: Floats) -> Floats:
    """Return the binomial probability of at least k = `count` of n = `size`; NaN where these are.

    It is the regularised incomplete beta function I(share; k, n − k + 1).
    """
    least = np.maximum(count, 1)  # none or more are certain
    return np.where(count == 0, 1.0, betainc(least, size - least + 1, share))


def largest_share(step: float, unit: Floats, sd: Floats) -> Floats:
    """Return the largest share of multiples of `step` that honest values of this spread can have, shown to whole `unit`s.

    Wherever their mean lies: of normal values, unit / step · (1 + 2 Σ exp(−2π²k²sd²/step²)), the normal density wrapped
    round the step, at its highest (Poisson summation). A wide spread leaves unit / step.
    """
    waves = np.exp(-2 * (np.pi * WAVES[:, None] * sd / step) ** 2).sum(axis=0)
    share: Floats = np.minimum(unit / step * (1 + 2 * waves), 1.0)
    return share


def _whole(facts: Subjects) -> Bools:
    """Mark the usable home readings of whole pressures; others were converted from another unit."""
    readings = facts.source.batch.readings
    whole: Bools = facts.source.rows(HOME) & np.logical_and(*(readings[name] % 1 == 0 for name in PRESSURES))
    return whole


def _count(facts: Subjects, rows: Bools) -> Floats:
    """Count the marked readings of each subject; NaN for fewer than FEWEST_EXACT that could be marked."""
    size = facts.source.count(facts.once(_whole))
    return np.where(size >= FEWEST_EXACT, facts.source.count(rows), np.nan)


def _multiples(facts: Subjects, pressure: str, step: int) -> Floats:
    return facts.once(MULTIPLES[pressure, step])


def _count_multiples(facts: Subjects, pressure: str, step: int) -> Floats:
    whole = facts.once(_whole)
    return _count(facts, whole & (facts.source.batch.readings[pressure] % step == 0))


def _spread(facts: Subjects, pressure: str) -> tuple[Floats, Floats]:
    """Return the standard deviation of each subject's whole values of a pressure, and their number."""
    batch, whole = facts.source.batch, facts.once(_whole)
    _, sd, size = moments_by(batch.subject_of[whole], len(batch.requests), batch.readings[pressure][whole])
    return sd, size


# What several facts share.
MULTIPLES = {
    (name, step): partial(_count_multiples, pressure=name, step=step) for name in PRESSURES for step in (TENS, FIVES, EVEN)
}
SPREADS = {name: partial(_spread, pressure=name) for name in PRESSURES}


def _share_by_chance(facts: Subjects, pressure: str, step: int) -> Floats:
    """Return the largest share of multiples of `step` that chance makes of values as spread as the subject's."""
    sd, size = facts.once(SPREADS[pressure])
    even_only = _multiples(facts, pressure, EVEN) == size
    return largest_share(step, np.where(even_only & (step == TENS), EVEN, 1), sd)


def _chance(facts: Subjects, pressure: str, step: int) -> Floats:
    size = facts["home_whole_readings"]
    return tail(_multiples(facts, pressure, step), size, _share_by_chance(facts, pressure, step))


derived("series", "home_whole_readings", f"usable home readings of whole pressures; unknown below {FEWEST_EXACT}",
        "Home readings whose last digits can be looked at", lambda facts: _count(facts, facts.once(_whole)), unit="1",
        asked=False)  # fmt: skip
derived_both("series", "home_{}_zeros", "home_whole_readings whose {} value ends in 0",
             "{} values at home that end in 0", _multiples, TENS, unit="1", asked=False)  # fmt: skip


for _name, _step, _digits in (("zero", TENS, "0"), ("five", FIVES, "0 or 5")):
    derived_both("series", f"home_{{}}_{_name}_chance",
                 f"binomial probability of so many of home_whole_readings, each with the largest share of {_digits} that "
                 "normal values of this spread can have; of tens among even values only, twice it",
                 f"How likely chance makes so many {{}} values that end in {_digits}", _chance, _step, unit="1",
                 share=True, asked=False)  # fmt: skip


@fact("series", "home_whole_readings whose two values both end in 0", unit="1", asked=False)
def home_both_zeros(facts: Subjects) -> Floats:
    """Home readings of which both values end in 0."""
    readings = facts.source.batch.readings
    return _count(facts, facts.once(_whole) & np.logical_and(*(readings[name] % TENS == 0 for name in PRESSURES)))


@fact("series", "binomial probability of home_both_zeros, each with the product of both largest shares of 0", unit="1",
      share=True, asked=False)  # fmt: skip
def home_both_zero_chance(facts: Subjects) -> Floats:
    """How likely chance makes so many readings of which both values end in 0."""
    share = np.multiply(*(_share_by_chance(facts, name, TENS) for name in PRESSURES))
    return tail(facts["home_both_zeros"], facts["home_whole_readings"], share)


def _pairs(facts: Subjects) -> Floats:
    """Return subject, and both pressures of the first two readings, of each home sitting that has two alike to compare."""
    pair, alike = facts.once(first_home_pairs)
    rows, batch = pair[:, alike], facts.source.batch
    values = [batch.readings[name][nth] for nth in rows for name in PRESSURES]
    return np.stack([batch.subject_of[rows[0]].astype(np.float64), *values])


@fact("series", "home_repeated_sittings less those that differ from every earlier one in a value", unit="1", asked=False)
def home_copied_sittings(facts: Subjects) -> Floats:
    """Home sittings whose first two readings have the very values of those of an earlier sitting."""
    pairs = facts.once(_pairs)
    ordered = pairs[:, np.lexsort(pairs[::-1])]
    again = ~run_starts(*ordered)
    return count_by(ordered[0].astype(np.int64), len(facts.source.batch.requests), again)


@fact("series", "home_repeated_sittings in which first and second reading have the same two values", unit="1", asked=False)
def home_same_pairs(facts: Subjects) -> Floats:
    """Home sittings whose second reading has the very values of the first."""
    subject, *values = facts.once(_pairs)
    same = (values[0] == values[2]) & (values[1] == values[3])
    return count_by(subject.astype(np.int64), len(facts.source.batch.requests), same)


@fact("series", "binomial probability of home_same_pairs of home_repeated_sittings, each with the highest density of "
      f"normal differences of this spread; unknown below {FEWEST_SITTINGS} sittings", unit="1", share=True,
      asked=False)  # fmt: skip
def home_same_pair_chance(facts: Subjects) -> Floats:
    """How likely chance makes so many second readings that equal the first.

    The density at no difference of two normal ones with second moments S is 1 / (2π √det S); S is from the sittings.
    """
    subject, *values = facts.once(_pairs)
    owner, size = subject.astype(np.int64), len(facts.source.batch.requests)
    systolic, diastolic = values[0] - values[2], values[1] - values[3]
    count = facts["home_repeated_sittings"]
    with np.errstate(invalid="ignore", divide="ignore"):
        products = (systolic * systolic, diastolic * diastolic, systolic * diastolic)
        moments = [sum_by(owner, size, product) / count for product in products]
        share = np.minimum(1 / (2 * np.pi * np.sqrt(np.maximum(moments[0] * moments[1] - moments[2] ** 2, 0))), 1.0)
        chance = tail(facts["home_same_pairs"], count, share)
    return np.where(count >= FEWEST_SITTINGS, chance, np.nan)
