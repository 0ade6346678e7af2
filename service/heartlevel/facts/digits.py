"""Facts of a series about rounded and copied values: measured ones have no favourite last digits, and seldom repeat.

The chi-square of last digits takes fifty readings; exact chances of round ends and of equal sittings do with a week.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc

from heartlevel.columns import Bools, Floats, Ints, count_by, first_case, moments_by, run_starts, sum_by
from heartlevel.facts.catalogue import derived, derived_both, fact
from heartlevel.facts.comparison import first_home_pairs
from heartlevel.facts.series import Subjects
from heartlevel.kernels import digits
from heartlevel.statistics.selection import HOME
from heartlevel.vocabulary import PRESSURES

DIGITS, EVEN_DIGITS = 10, 5
# A chi-square of ten digits needs 5 expected in each; and with little spread the last digits of honest readings are uneven:
# of normal values with standard deviation s they vary by up to 2·exp(−2π²s²/100) of a tenth, which is 1.4 % at 5.
FEWEST, LEAST_SD = 50, 5.0
FEWEST_EXACT, FEWEST_SITTINGS = 12, 6
STEPS = TENS, FIVES, EVEN = 10, 5, 2
MIXER = 1009.0  # above any pressure
WAVES = np.arange(1, 11)  # of a share's dependence on the spread; further ones are nothing above 0.3 mm[Hg]


def _end_digits(facts: Subjects) -> Floats:
    """Count the last digits (subjects × digits) of usable home readings; values that are no whole mmHg were converted.

    NaN where there are too few readings or they vary too little.
    """
    series, subjects = facts.source, len(facts.source.batch.requests)
    if series.figure("readings", HOME, "all").max(initial=0) < FEWEST:  # most people's are fewer
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


def largest_share(step: float | Ints, unit: Floats, sd: Floats) -> Floats:
    """Return the largest share of multiples of `step` that honest values of this spread can have, shown to whole `unit`s.

    Wherever their mean lies: of normal values, unit / step · (1 + 2 Σ exp(−2π²k²sd²/step²)), the normal density wrapped
    round the step, at its highest (Poisson summation). A wide spread leaves unit / step.
    """
    waves = np.exp(-2 * (np.multiply.outer(np.pi * WAVES, sd) / step) ** 2).sum(axis=0)
    share: Floats = np.minimum(unit / step * (1 + 2 * waves), 1.0)
    return share


@dataclass(frozen=True, slots=True)
class _Counted:
    """Usable home readings of whole pressures; others were converted from another unit."""

    whole: Bools  # a value a reading; all else has one a subject: the numbers of
    count: Floats  # these
    multiples: Floats  # those that end in the digits of each of STEPS; axes: step, pressure, subject
    both: Floats  # those of which both values do; a row a step


def _counted(facts: Subjects) -> _Counted:
    batch, subjects = facts.source.batch, len(facts.source.batch.requests)
    whole, count = np.zeros(batch.size, dtype=np.uint8), np.zeros(subjects)
    multiples, both = np.zeros((len(STEPS), len(PRESSURES), subjects)), np.zeros((len(STEPS), subjects))
    chosen, (systolic, diastolic) = facts.source.rows(HOME).view(np.uint8), (batch.readings[name] for name in PRESSURES)
    steps = np.array(STEPS)
    digits.count_multiples(chosen, batch.subject_of, systolic, diastolic, steps, whole, count, multiples, both)
    return _Counted(whole.view(np.bool_), count, multiples, both)


def _enough(facts: Subjects, count: Floats) -> Floats:
    """Return the number; NaN where fewer than FEWEST_EXACT readings could be counted."""
    return np.where(facts.once(_counted).count >= FEWEST_EXACT, count, np.nan)


def _multiples(facts: Subjects, pressure: str, step: int) -> Floats:
    return _enough(facts, facts.once(_counted).multiples[STEPS.index(step), PRESSURES.index(pressure)])


def _shares(facts: Subjects) -> Floats:
    """Return the largest share of round values that chance makes of values as spread as the subject's.

    Axes: tens and fives, pressure, subject.
    """
    batch, counted = facts.source.batch, facts.once(_counted)
    owner, size = batch.subject_of[counted.whole], len(batch.requests)
    sd = np.array([[moments_by(owner, size, batch.readings[name][counted.whole])[1] for name in PRESSURES]])
    even_only = counted.multiples[STEPS.index(EVEN)] == counted.count
    unit = np.where([even_only, np.zeros_like(even_only)], EVEN, 1)
    return largest_share(np.array([TENS, FIVES])[:, None, None], unit, sd)


def _chances(facts: Subjects) -> Floats:
    """Return how likely chance makes so many round values: a row a step and pressure and, at last, for both pressures."""
    counted, shares, tens = facts.once(_counted), facts.once(_shares), STEPS.index(TENS)
    of_each = slice(None, len(shares))
    count = np.concatenate([*counted.multiples[of_each], counted.both[[tens]]])
    share = np.concatenate([*shares, shares[[tens]].prod(axis=1)])
    return tail(_enough(facts, count), facts["home_whole_readings"], share)


def _chance(facts: Subjects, pressure: str, step: int) -> Floats:
    chance: Floats = facts.once(_chances)[STEPS.index(step) * len(PRESSURES) + PRESSURES.index(pressure)]
    return chance


derived("series", "home_whole_readings", f"usable home readings of whole pressures; unknown below {FEWEST_EXACT}",
        "Home readings whose last digits can be looked at",
        lambda facts: _enough(facts, facts.once(_counted).count), unit="1", asked=False)  # fmt: skip
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
    return _enough(facts, facts.once(_counted).both[STEPS.index(TENS)])


@fact("series", "binomial probability of home_both_zeros, each with the product of both largest shares of 0", unit="1",
      share=True, asked=False)  # fmt: skip
def home_both_zero_chance(facts: Subjects) -> Floats:
    """How likely chance makes so many readings of which both values end in 0."""
    chance: Floats = facts.once(_chances)[-1]
    return chance


def _pairs(facts: Subjects) -> Floats:
    """Return subject, and both pressures of the first two readings, of each home sitting that has two alike to compare."""
    pair, alike = facts.once(first_home_pairs)
    rows, batch = pair[:, alike], facts.source.batch
    values = [batch.readings[name][nth] for nth in rows for name in PRESSURES]
    return np.stack([batch.subject_of[rows[0]].astype(np.float64), *values])


def _mixed_alike(columns: Floats) -> Ints:
    """Return the columns that another one may equal: those whose values, mixed into one number, are that of another.

    Few are; sorting these alone by all of their values takes a fraction of the time.
    """
    mixed = columns[0]
    for values in columns[1:]:
        mixed = mixed * MIXER + values
    order = np.argsort(mixed)
    again = np.zeros(1 + len(order), dtype=np.bool_)
    again[1:-1] = mixed[order[1:]] == mixed[order[:-1]]
    return order[again[1:] | again[:-1]]


@fact("series", "home_repeated_sittings less those that differ from every earlier one in a value", unit="1", asked=False)
def home_copied_sittings(facts: Subjects) -> Floats:
    """Home sittings whose first two readings have the very values of those of an earlier sitting."""
    pairs = facts.once(_pairs)
    pairs = pairs[:, _mixed_alike(pairs)]
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
