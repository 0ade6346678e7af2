"""An assessment as tables: columns taken from its arrays, no object a subject. Numbers are not rounded."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.statistics.classification import CLASSIFIED, NO_CATEGORY
from heartlevel.statistics.uncertainty import interval95
from heartlevel.vocabulary import LIMITS_UNCLEAR, RELIABILITIES, SCOPES, SETTINGS, UNDETERMINED

Texts = npt.NDArray[np.object_]
SHOWN = ("systolic", "diastolic", "mean_arterial", "pulse_pressure")
COUNTED = ("home_readings", "home_days", "home_sittings", "office_readings", "office_days")
TOO_YOUNG, TOO_FEW = "below-the-age-the-guideline-classifies", "too-few-readings"


@dataclass(frozen=True, slots=True)
class Coded:
    """A column of few texts: each row's place among them."""

    places: Ints
    texts: Sequence[str | None]

    def written(self) -> Texts:
        """Return each row's text."""
        return texts(self.texts)[self.places]


Parts = dict[str, Any]  # equally long arrays, or coded texts, by column name


def texts(values: Any) -> Texts:
    """Return texts as an array of objects."""
    return np.array(list(values), dtype=np.object_)


def names_of(of: Assessment) -> list[str]:
    """Return the subjects' ids."""
    return [one.subject["id"] for one in of.batch.requests]


def readings_table(of: Assessment) -> Parts:
    """Return a row a reading: `row` in the table it came from, id, reliability, pressures."""
    columns = of.facts["reading"]
    return {
        "row": np.array(of.batch.indices, dtype=np.int64),
        "subject": Coded(of.batch.subject_of, names_of(of)),
        "id": texts(of.batch.names),
        "reliability": Coded(of.reliability, RELIABILITIES),
        **{name: columns[name] for name in SHOWN},
    }


def findings_table(of: Assessment) -> Parts:
    """Return a row for each rule that fired for a subject, with how many readings it concerns and the first's row."""
    rules = [rule for scope in SCOPES for rule in of.verdicts[scope].rules]
    parts, before = [], 0
    for scope in SCOPES:
        which, *counted = _counted(of, scope, len(of.batch.requests))
        parts.append((which + before, *counted))
        before += len(of.verdicts[scope].rules)
    which, owner, count, first = (np.concatenate(several) for several in zip(*parts, strict=True))
    urgent = np.array([rule.urgent for rule in rules], dtype=bool)[which]
    high = np.array([rule.severity == "high" for rule in rules], dtype=bool)[which]
    order = np.lexsort((which, ~high, ~urgent, owner))
    place = which[order]
    return {
        "subject": Coded(owner[order], names_of(of)),
        "rule": Coded(place, [rule.id for rule in rules]),
        "scope": Coded(place, [rule.scope for rule in rules]),
        "severity": Coded(place, [rule.severity for rule in rules]),
        "urgent": urgent[order],
        "effect": Coded(place, [rule.effect_name for rule in rules]),
        "readings": count[order],
        "first_row": first[order],
    }


def _counted(of: Assessment, scope: str, size: int) -> tuple[Ints, Ints, Ints, Ints]:
    """Return, for each rule and subject it fired for: both, the readings concerned and the first's row (−1: none)."""
    fired = of.verdicts[scope].fired()
    if scope in ("series", "device"):
        subject = np.arange(size) if scope == "series" else of.checks.subject_of
        which, rows = np.nonzero(fired)
        pairs = np.unique(which * size + subject[rows]) if size else np.zeros(0, dtype=np.int64)
        nothing = np.zeros(len(pairs), dtype=np.int64)
        return pairs // max(size, 1), pairs % max(size, 1), nothing, nothing - 1
    batch = of.batch
    by_reading = fired if scope == "reading" else fired[:, batch.sitting_of]
    which, rows = np.divmod(np.flatnonzero(by_reading), max(batch.size, 1))  # quicker than by two dimensions
    # Rows are sorted by subject, so that pairs of rule and subject come in runs.
    pairs = which * size + batch.subject_of[rows]
    starts = np.flatnonzero(np.append(True, np.diff(pairs) != 0)) if len(pairs) else np.zeros(0, dtype=np.int64)
    count = np.diff(np.append(starts, len(pairs)))
    places = np.array(batch.indices, dtype=np.int64)
    return which[starts], batch.subject_of[rows[starts]], count, places[rows[starts]]


def averages_table(of: Assessment) -> Parts:
    """Return a row for each average of a subject that has readings."""
    averages, bases = of.averages, list(of.selection.averages)
    rows, groups = np.nonzero(averages.readings[: len(bases)])
    order = np.lexsort((rows, groups))
    rows, groups = rows[order], groups[order]
    whole: Parts = {
        "subject": Coded(groups // len(SETTINGS), names_of(of)),
        "setting": Coded(groups % len(SETTINGS), SETTINGS),
        "basis": Coded(rows, bases),
        "readings": averages.readings[rows, groups].astype(np.int64),
        "days": averages.days[rows, groups].astype(np.int64),
    }
    for place, name in enumerate(QUANTITIES):
        at = place, rows, groups
        half = _half95(averages.day_count[at]) * averages.standard_error[at]
        low, high = averages.day_mean[at] - half, averages.day_mean[at] + half
        mean = averages.mean[at]
        whole |= {f"{name}_mean": mean, f"{name}_sd": np.where(np.isnan(mean), np.nan, averages.sd[at]),
                  f"{name}_mean_of_days": averages.day_mean[at],
                  f"{name}_low95": low, f"{name}_high95": high}  # fmt: skip
    return whole


def _half95(days: Floats) -> Floats:
    """Return by how many standard errors the interval goes either way; so many days are looked up once."""
    distinct, place = np.unique(days, return_inverse=True)
    _, half = interval95(np.zeros(len(distinct)), np.ones(len(distinct)), distinct)
    return half[place]


def subjects_table(of: Assessment) -> Parts:
    """Return a row a subject: category, whether it holds, pattern and coverage."""
    columns, batch = of.facts["series"], of.batch
    return {
        "subject": texts(names_of(of)),
        "guideline": texts(one.guideline for one in batch.requests),
        "limits_from": texts(one.id for one in of.guidelines),
        "protocol": texts(one.id for one in of.protocols),
        "urgent": any_urgent(of),
        **_category(of),
        "pattern": _pattern(of),
        "readings": np.bincount(batch.subject_of, minlength=len(batch.requests)),
        **{name: columns[name].astype(np.int64) for name in COUNTED},
        "home_enough_for_protocol": columns["home_enough_for_protocol"] == 1,
        "office_enough_for_protocol": columns["office_enough_for_protocol"] == 1,
        "office_minus_home_systolic": columns["office_minus_home_systolic"],
        "office_minus_home_diastolic": columns["office_minus_home_diastolic"],
    }


def any_urgent(of: Assessment) -> Bools:
    """Return for whom something urgent was found."""
    batch = of.batch
    urgent = np.zeros(len(batch.requests), dtype=bool)
    owners = {"reading": batch.subject_of, "sitting": batch.subject_of_sitting,
              "series": np.arange(len(urgent)), "device": of.checks.subject_of}  # fmt: skip
    for scope, owner in owners.items():
        rules = [place for place, rule in enumerate(of.verdicts[scope].rules) if rule.urgent]
        urgent[owner[of.verdicts[scope].fired()[rules].any(axis=0)]] = True
    return urgent


def _pattern(of: Assessment) -> Coded:
    """Return the label of the one rule that decides; undetermined where none or several do."""
    rules = of.verdicts["series"].rules
    deciding = [place for place, rule in enumerate(rules) if rule.pattern]
    fired = of.verdicts["series"].fired()[deciding]
    labels = [*(rules[place].pattern or "" for place in deciding), UNDETERMINED]
    return Coded(np.where(fired.sum(axis=0) == 1, np.argmax(fired, axis=0) if deciding else 0, len(deciding)), labels)


def _category(of: Assessment) -> Parts:
    """Return the category of the best average there is, as in an answer's `classification`."""
    size, averages, columns = len(of.batch.requests), of.averages, of.facts["series"]
    adults = np.array([one.adults_from_years for one in of.guidelines], dtype=np.float64)
    adult = ~(of.batch.subjects["age_years"] < adults)
    clear = columns["limits_unclear"] == 0
    enough = [(columns[f"{name}_enough_for_protocol"] == 1) & adult & clear for name in CLASSIFIED]
    has_one = np.logical_or.reduce(enough)
    setting = np.where(enough[0], SETTINGS.index(CLASSIFIED[0]), SETTINGS.index(CLASSIFIED[1]))
    group, row = np.arange(size) * len(SETTINGS) + setting, averages.row("protocol")
    place = np.where(has_one, of.classified.category[row, group], NO_CATEGORY)
    category = texts(
        None if one == NO_CATEGORY else guideline.categories[SETTINGS[where]][one].id
        for one, where, guideline in zip(place.tolist(), setting.tolist(), of.guidelines, strict=True)
    )
    return {
        "setting": Coded(np.where(has_one, setting, len(SETTINGS)), [*SETTINGS, None]),
        "category": category,
        "reason": Coded(np.select([~clear, ~adult, ~has_one], [3, 2, 1], 0), [None, TOO_FEW, TOO_YOUNG, LIMITS_UNCLEAR]),
        "holds": has_one & _holds(of, group, place),
        "systolic": np.where(has_one, averages.mean[0, row, group], np.nan),
        "diastolic": np.where(has_one, averages.mean[1, row, group], np.nan),
    }


def _holds(of: Assessment, group: Ints, place: Ints) -> Bools:
    others = of.alternatives
    counts = others.applies[:, group] & others.enough[:, group]
    changes: Bools = counts & (of.classified.of_alternatives[:, group] != place)
    none: Bools = ~np.any(changes, axis=0)
    return none


def joined(parts: list[Mapping[str, Any]]) -> Parts:
    """Join tables of the same columns, their texts written out."""
    return {name: np.concatenate([_written(one[name]) for one in parts]) for name in parts[0]}


def _written(column: Any) -> Any:
    return column.written() if isinstance(column, Coded) else column
