"""Facts on whether the readings of home and office may speak: devices, arms, technique, age, what lies between them."""

from functools import partial

import numpy as np

from heartlevel.columns import Bools, Floats, among, count_by, first_case, mean_by
from heartlevel.facts.catalogue import derived, derived_both
from heartlevel.facts.comparison import bias_by_device, of_each_arm
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import AMBULATORY, HOME, IN_OFFICE, UNATTENDED, UNUSABLE
from heartlevel.vocabulary import DIRECTIONS, MMHG, PRESSURES

SETTINGS_OF = {"home": (HOME,), "office": IN_OFFICE, "ambulatory": (AMBULATORY,)}
HIGH, LOW, EITHER = (float(DIRECTIONS.index(name)) for name in ("high", "low", "either"))
HALF = 0.5  # of the readings: what most of them have
_enter, _enter_both = partial(derived, "series", asked=False), partial(derived_both, "series", asked=False)


def taken_in(facts: Subjects, where: str) -> Bools:
    """Mark all current readings of home, of the office (attended or not), or of an ambulatory measurement."""
    taken: Bools = facts.source.current & among(facts.source.batch.setting, SETTINGS_OF[where])
    return taken


def kept_in(facts: Subjects, where: str) -> Bools:
    """Mark those of them that the protocol's averages take."""
    return taken_in(facts, where) & facts.source.selection.averages["protocol"]


def _last_day(facts: Subjects, where: str) -> Floats:
    last: Floats = np.fmax.reduce([facts.source.last_day(setting) for setting in SETTINGS_OF[where]])
    return last


def _unusable_share(facts: Subjects, where: str) -> Floats:
    unusable = facts.source.reliability == UNUSABLE
    return facts.source.mean_over(taken_in(facts, where) & facts.source.current, unusable.astype(np.float64))


for _where, _spoken in (("home", "home"), ("office", "office"), ("ambulatory", "ambulatory")):
    _enter(f"{_where}_unusable_share", f"unusable {_spoken} readings / {_spoken} readings",
           f"Share of the {_spoken} readings that are unusable", _unusable_share, _where, unit="1", share=True)  # fmt: skip
for _where in ("office", "ambulatory"):
    _enter(f"days_since_{_where}_reading", f"as_of − last local day with a usable {_where} reading",
           f"Days from the last {_where} reading to the assessment",
           lambda facts, where: facts["as_of"] - _last_day(facts, where), _where, unit="d")  # fmt: skip
_enter("home_days_after_office", "last home day − last office day, of usable readings",
       "Days from the last office reading to the last home reading; negative if home came first",
       lambda facts: _last_day(facts, "home") - _last_day(facts, "office"), unit="d")  # fmt: skip

_enter("office_disagreeing_device_share",
       "office readings that the protocol uses with a device whose check_verdict is disagrees or check_procedure replace / "
       "those with one that either of them decides on",
       "Share of the averaged office readings that a device took which disagreed with its reference",
       lambda facts: bias_by_device(facts, None, kept_in(facts, "office")), unit="1", share=True)  # fmt: skip
_enter_both("office_device_{}_bias", "mean check_{}_bias over the office readings used with a device that disagrees",
            "{} bias of the device that disagreed and took office readings",
            lambda facts, pressure: bias_by_device(facts, PRESSURES.index(pressure), kept_in(facts, "office")),
            unit=MMHG)  # fmt: skip


def _device_reads(facts: Subjects, where: str) -> Floats:
    """Return which way a device that disagrees reads, by its biases beyond the protocol's largest."""
    largest = facts.source.limit("protocol.device_check.largest_bias")
    biases = [facts[f"{where}_device_{pressure}_bias"] for pressure in PRESSURES]
    high = np.logical_or.reduce([bias > largest for bias in biases])
    low = np.logical_or.reduce([bias < -largest for bias in biases])
    direction = first_case([(high & ~low, HIGH), (low & ~high, LOW)], EITHER)
    return np.where(facts[f"{where}_disagreeing_device_share"] > 0, direction, np.nan)


def _technique_reads(facts: Subjects, where: str) -> Floats:
    """Return which way the faults of doubtful averaged readings read."""
    series, kept = facts.source, kept_in(facts, where)
    doubt = series.doubt
    if not (kept & doubt.any).any():
        return np.full(len(series.batch.requests), np.nan)
    unsized, high, low = (series.mean_over(kept, np.where(marked, 1.0, 0.0)) for marked in doubt.by_kind)
    known = first_case([((high > 0) & (low > 0), EITHER), (high > 0, HIGH), (low > 0, LOW)], np.nan)
    return np.where(unsized >= HALF, EITHER, known)


def _lower_arm_share(facts: Subjects, where: str) -> Floats:
    side, higher = facts.source.readings["side"], facts["higher_arm"]
    if np.isnan(higher).all():  # most never compared their arms
        return np.full(len(higher), np.nan)
    own = higher[facts.source.batch.subject_of]
    lower = np.where(np.isnan(side) | np.isnan(own), np.nan, side != own)
    return facts.source.mean_over(kept_in(facts, where), lower)


for _where in ("home", "office"):
    _enter(f"{_where}_device_reads",
           f"sign of {_where}_device_systolic_bias and {_where}_device_diastolic_bias beyond the protocol's largest bias; "
           "either where they differ or none is known",
           f"Which way the device that disagreed and took {_where} readings reads", _device_reads, _where,
           names=DIRECTIONS)  # fmt: skip
    _enter(f"{_where}_technique_reads",
           f"direction of the published errors of the faults that make averaged {_where} readings doubtful; either where "
           "they differ, or where nothing is published of half of the readings' faults",
           f"Which way the technique of the doubtful {_where} readings reads", _technique_reads, _where,
           names=DIRECTIONS)  # fmt: skip
    _enter(f"{_where}_lower_arm_share", f"side is not higher_arm, among the averaged {_where} readings whose side is known",
           f"Share of the averaged {_where} readings of the arm that reads lower", _lower_arm_share, _where,
           unit="1", share=True)  # fmt: skip


def _picked_share(facts: Subjects) -> Floats:
    batch = facts.source.batch
    picked = batch.readings["selected_from"] > 1
    if not picked.any():
        return np.full(len(batch.requests), np.nan)
    beside_one = (count_by(batch.sitting_of, batch.sittings, picked) > 0)[batch.sitting_of]
    return facts.source.mean_over(kept_in(facts, "home"), beside_one.astype(np.float64))


_enter("home_picked_share", "averaged home readings of a sitting with a reading picked out of several / averaged home "
       "readings; unknown where none was picked", "Share of the averaged home readings whose sitting was picked from",
       _picked_share, unit="1", share=True)  # fmt: skip


def _arms_apart(facts: Subjects) -> Floats:
    """Return, for each day of a setting, the right upper arm's mean systolic pressure less the left's.

    Only days count on which no sitting has both, and readings neither standing nor lying. NaN for all others.
    """
    batch, systolic, arms = facts.source.batch, facts.source.batch.readings["systolic"], facts.once(of_each_arm)
    if arms is None:
        return np.full(batch.days, np.nan)
    together = np.logical_and(*(count_by(batch.sitting_of, batch.sittings, rows) > 0 for rows in arms))
    compared = count_by(batch.day_of, batch.days, together[batch.sitting_of]) > 0
    means = [mean_by(batch.day_of[rows], batch.days, systolic[rows]) for rows in arms]
    return np.where(compared, np.nan, means[1] - means[0])


def _mean_of_days(facts: Subjects, values: Floats) -> Floats:
    batch, known = facts.source.batch, ~np.isnan(values)
    subjects = facts.source.subject_of_day[known]
    return mean_by(subjects, len(batch.requests), values[known])


_enter("arms_apart_days", "days with usable readings, not standing or lying, of both upper arms, in no sitting of both",
       "Days on which both arms were measured, at different times",
       lambda facts: count_by(facts.source.subject_of_day, len(facts.source.batch.requests),
                              ~np.isnan(facts.once(_arms_apart))), unit="1")  # fmt: skip
_enter("arms_apart_systolic_difference", "|mean over arms_apart_days of (mean systolic of the right arm − of the left)|",
       "Systolic difference of the arms, measured at different times of the same days",
       lambda facts: np.abs(_mean_of_days(facts, facts.once(_arms_apart))), unit=MMHG)  # fmt: skip

for _name, _formula, _meaning, _figure in (
    ("readings", "readings that are not unusable", "Usable office readings with nobody in the room", "readings"),
    ("days", "local days with a usable reading", "Days measured in the office with nobody in the room", "days"),
):
    _enter(f"office_unattended_{_name}", f"{_formula}, setting office and taken_by unattended", _meaning,
           lambda facts, figure: facts.source.figure(figure, UNATTENDED, "all"), _figure,
           unit="d" if _name == "days" else "1")  # fmt: skip
_enter("ambulatory_days", "local days with a usable ambulatory reading", "Days of ambulatory measurement",
       lambda facts: facts.source.figure("days", AMBULATORY, "all"), unit="d")  # fmt: skip
_enter_both("office_unattended_{}", "mean of the unattended office readings that the protocol uses",
            "{} average of the unattended office readings by protocol",
            lambda facts, pressure: facts.source.figure(pressure, UNATTENDED, "protocol"), unit=MMHG)  # fmt: skip


def _unattended_enough(facts: Subjects) -> Floats:
    limit = facts.source.limit
    enough = facts["office_unattended_readings"] >= limit("protocol.office.minimum_readings")
    return (enough & (facts["office_unattended_days"] >= limit("protocol.office.minimum_days"))).astype(np.float64)


_enter("office_unattended_enough_for_protocol",
       "office_unattended_readings and office_unattended_days reach the protocol's minima for the office",
       "There are enough unattended office readings for the protocol's average", _unattended_enough, flag=True)  # fmt: skip
