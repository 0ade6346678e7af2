"""Conclusions as tables: columns taken from arrays, no object a subject. Numbers are not rounded."""

from collections.abc import Callable, Mapping

import numpy as np

from heartlevel.answer.readings import READING_PRESSURES
from heartlevel.answer.result_columns.coded import Coded, Parts, names_of_subjects, text_column
from heartlevel.answer.result_columns.measured import device_checks_columns, taken_how
from heartlevel.assessment import Assessment
from heartlevel.conclusions.category import NO_CATEGORY_REASONS
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.firings import NO_READING
from heartlevel.conclusions.pattern import LABELS
from heartlevel.conclusions.urgency.episodes import is_urgent_at
from heartlevel.facts.sides import ATTENDED, HOME, LIMITS_OF, UNATTENDED
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.statistics.classification import NO_CATEGORY
from heartlevel.vocabulary import MEASURED_SIDES, PRESSURES, RELIABILITIES, SCOPES, SETTINGS, SURENESSES, URGENCY_LEVELS

COUNTED = ("home_readings", "home_days", "home_sittings", "office_readings", "office_days")


def readings_columns(conclusions: Conclusions) -> Parts:
    """Return a row a reading: `row` in the table it came from, id, reliability, pressures, where and by whom it was taken.

    `averaged` marks those in their setting's average by the protocol.
    """
    assessment = conclusions.assessment
    batch, facts = assessment.batch, assessment.facts["reading"]
    return {
        "row": np.array(batch.indices, dtype=np.int64),
        "subject": Coded(batch.subject_of, names_of_subjects(assessment)),
        "id": text_column(batch.names),
        "reliability": Coded(assessment.reliability, RELIABILITIES),
        **{name: facts[name] for name in READING_PRESSURES},
        **taken_how(assessment),
        "averaged": assessment.selection.averages["protocol"],
    }


def findings_columns(conclusions: Conclusions) -> Parts:
    """Return a row for each rule that fired for a subject, with how many readings it concerns and the first's row.

    `takes_category_away`: there is no category, and the rule is among the reasons. `…_off_least` and `…_off_most`: how much
    too high its readings are by published size, mm[Hg]; below 0 is too low.
    """
    assessment, fired, costs = conclusions.assessment, conclusions.rules_by_subject, conclusions.costs
    rules = [rule for scope in SCOPES for rule in assessment.verdicts[scope].rules]
    levels = conclusions.urgency.levels_of_rules(fired.subject, fired.rule)
    # One more at the end, for the rules that concern no single reading.
    rows = np.array([*assessment.batch.indices, NO_READING], dtype=np.int64)
    return {
        "subject": Coded(fired.subject, names_of_subjects(assessment)),
        "rule": Coded(fired.rule, [rule.id for rule in rules]),
        "scope": Coded(fired.rule, [rule.scope for rule in rules]),
        "severity": Coded(fired.rule, [rule.severity for rule in rules]),
        "urgent": is_urgent_at(levels),
        "urgency": Coded(levels, [*URGENCY_LEVELS, None]),
        "effect": Coded(fired.rule, [rule.effect_name for rule in rules]),
        "readings": fired.readings,
        "takes_category_away": costs.takes_category_away,
        **{
            f"{name}_off_{end}": costs.off_by[row, column]
            for column, name in enumerate(PRESSURES)
            for row, end in enumerate(("least", "most"))
        },
        "first_row": rows[fired.first],
    }


def averages_columns(conclusions: Conclusions) -> Parts:
    """Return a row for each average of a subject that has readings."""
    assessment, averages = conclusions.assessment, conclusions.assessment.averages
    bases = list(assessment.selection.averages)
    rows, groups = np.nonzero(averages.readings[: len(bases)])
    order = np.lexsort((rows, groups))
    rows, groups = rows[order], groups[order]
    whole: Parts = {
        "subject": Coded(groups // len(SETTINGS), names_of_subjects(assessment)),
        "setting": Coded(groups % len(SETTINGS), SETTINGS),
        "basis": Coded(rows, bases),
        "readings": averages.readings[rows, groups].astype(np.int64),
        "days": averages.days[rows, groups].astype(np.int64),
    }
    for quantity, name in enumerate(QUANTITIES):
        at = quantity, rows, groups
        mean = averages.mean[at]
        whole |= {
            f"{name}_mean": mean,
            f"{name}_sd": np.where(np.isnan(mean), np.nan, averages.sd[at]),
            f"{name}_mean_of_days": averages.day_mean[at],
            f"{name}_low95": conclusions.intervals[0][at],
            f"{name}_high95": conclusions.intervals[1][at],
        }
    return whole


def subjects_columns(conclusions: Conclusions) -> Parts:
    """Return a row a subject: category, whether it holds and rests on what readings, pattern and coverage."""
    assessment, difference, grounds = conclusions.assessment, conclusions.office_minus_home, conclusions.grounds
    batch, facts = assessment.batch, assessment.facts["series"]
    return {
        "subject": text_column(names_of_subjects(assessment)),
        "guideline": text_column(request.guideline for request in batch.requests),
        "limits_from": text_column(guideline.id for guideline in assessment.guidelines),
        "protocol": text_column(protocol.id for protocol in assessment.protocols),
        "urgent": conclusions.urgent,
        "urgency": Coded(conclusions.urgency.levels, URGENCY_LEVELS),
        **_category(conclusions),
        "pattern": Coded(conclusions.pattern, LABELS),
        **_fit_sides(assessment),
        "readings": np.bincount(batch.subject_of, minlength=len(batch.requests)),
        "readings_received": facts["readings_received"].astype(np.int64),
        "readings_assessed": facts["readings_assessed"].astype(np.int64),
        "readings_lost": facts["lost_readings"].astype(np.int64),
        **{name: facts[name].astype(np.int64) for name in COUNTED},
        "home_enough_for_protocol": facts["home_enough_for_protocol"] == 1,
        "office_enough_for_protocol": facts["office_enough_for_protocol"] == 1,
        "office_minus_home_systolic": difference.mean[0],
        "office_minus_home_diastolic": difference.mean[1],
        "category_readings": grounds.readings,
        "category_not_documented": grounds.not_documented,
        "category_doubtful": grounds.doubtful,
        "rules_fingerprint": Coded(np.zeros(len(batch.requests), dtype=np.int64), [assessment.rules.fingerprint]),
    }


def _fit_sides(assessment: Assessment) -> Parts:
    """Return which sides may speak; of an ambulatory measurement the part that decides."""
    fit, ambulatory = assessment.fitness.fit, assessment.sides.ambulatory
    named = {"home_fit": HOME, "office_attended_fit": ATTENDED, "office_unattended_fit": UNATTENDED}
    return {
        **{name: fit[side] for name, side in named.items()},
        "ambulatory_fit": assessment.sides.at(fit.astype(np.float64), ambulatory) == 1,
    }


def _category(conclusions: Conclusions) -> Parts:
    """Return what stands in an answer's `classification`."""
    categories, guidelines = conclusions.category, conclusions.assessment.guidelines
    numbers = zip(categories.category.tolist(), categories.side.tolist(), guidelines, strict=True)
    category = text_column(
        None if number == NO_CATEGORY else guideline.categories[LIMITS_OF[MEASURED_SIDES[side]]][number].id
        for number, side, guideline in numbers
    )
    return {
        "side": Coded(categories.side, [*MEASURED_SIDES, None]),
        "setting": Coded(categories.setting, [*SETTINGS, None]),
        "category": category,
        "reason": Coded(categories.reason, NO_CATEGORY_REASONS),
        "holds": categories.holds,
        "sureness": Coded(conclusions.sureness.word, SURENESSES),
        "systolic": categories.mean[0],
        "diastolic": categories.mean[1],
    }


COLUMNS_OF: Mapping[str, Callable[[Conclusions], Parts]] = {
    "subjects": subjects_columns,
    "averages": averages_columns,
    "findings": findings_columns,
    "readings": readings_columns,
    "device_checks": device_checks_columns,
}
