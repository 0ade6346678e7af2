"""From a pandas table of readings to tables of what was found; the numbers are those of the service."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields
from functools import partial
from typing import Any

import pandas as pd

from heartlevel.answer.result_tables import averages_table, findings_table, joined, readings_table, subjects_table
from heartlevel.assessment import Assessment, Rules, assess_batch, sitting_gaps
from heartlevel.intake.faults import problem
from heartlevel.intake.request import RefusedRequest, read_options
from heartlevel.intake.table_columns import CellProblem
from heartlevel.intake.table_parts import batches
from heartlevel.intake.table_readings import Table, table_of
from heartlevel.intake.tabular import cells_of

# Readings assessed in one go: enough to share the work, few enough for the caches.
TOGETHER = 16_384
PARTS: dict[str, Callable[[Assessment], dict[str, Any]]] = {
    "readings": readings_table, "findings": findings_table, "averages": averages_table, "subjects": subjects_table,
}  # fmt: skip
OF_REQUESTS_ONLY = ("strict", "explain", "language", "also_under", "population")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a table. Pressures are in mm[Hg] and not rounded; NaN or None is unknown.

    `readings`: a row for each reading that was assessed: `row` (its place in the table, from 0), `subject`, `id`,
    `reliability`, `systolic`, `diastolic`, `mean_arterial`, `pulse_pressure`.
    `findings`: a row for each rule that fired for a subject: `subject`, `rule`, `scope`, `severity`, `urgent`,
    `effect`, `readings` (how many are concerned; 0 for rules about the whole series), `first_row` (−1 for those).
    `averages`: a row for each `subject`, `setting` and `basis` with readings: `readings`, `days`, and for `systolic`,
    `diastolic` and `pulse` each `_mean`, `_sd`, `_mean_of_days`, `_low95`, `_high95`.
    `subjects`: a row a subject: `category` (or the `reason` for none), its `setting`, pressures and whether it
    `holds`, `pattern`, `urgent`, and the coverage (`home_days` and so on).
    `problems`: what could not be read: `row` (−1: the whole column), `column`, `code`, `detail`, `hint`.
    """

    readings: pd.DataFrame
    findings: pd.DataFrame
    averages: pd.DataFrame
    subjects: pd.DataFrame
    problems: pd.DataFrame


def assess_frame(frame: pd.DataFrame, rules: Rules, options: Mapping[str, Any] | None = None) -> Result:
    """Assess a table of one row a reading; each subject's result is as if it had come alone to the service.

    Columns are named like the fields of the request: `subject` (its id), `taken_at`, `systolic`, `diastolic`,
    `setting` are required; nested ones are dotted (`technique.back_supported`, `cuff.arm_min_cm`,
    `device.method`, `subject.age_years`). `circumstances` and `subject.avoid_arms` are lists or texts in parts,
    `stress;pain`. A missing cell is not recorded. What stands in `subject.` columns must be the same in all rows
    of a subject, or left out: the first row that says it counts, and is named in `problems` with those that say otherwise.
    A detail that cannot be read counts as not recorded, as in a request.
    `options` are those of the request, for all subjects, but for `strict`, `explain`, `language`, `also_under` and
    `population`, which are about what a table does not show.

    Raises RefusedRequest where a required column is missing, one is there twice, or an option is at fault.
    """
    chosen = dict(options or {})
    not_here = [name for name in OF_REQUESTS_ONLY if name in chosen]
    if not_here:
        raise RefusedRequest([problem(f"/{name}", "unknown-key") for name in not_here])
    read, zone, as_of = read_options(chosen, rules.ruleset.choices)
    table = table_of(cells_of(frame), zone, as_of)
    parts = [
        {name: part(assessment) for name, part in PARTS.items()}
        for assessment in _assessments(table, read | {"as_of": as_of}, rules)
    ]
    frames = {name: _frame(joined([one[name] for one in parts])) for name in PARTS}
    return Result(**frames, problems=_problems(table))


def _assessments(table: Table, options: Mapping[str, Any], rules: Rules) -> Iterator[Assessment]:
    for batch in batches(table, options, partial(sitting_gaps, rules=rules), TOGETHER):
        yield assess_batch(batch, rules)


def _frame(columns: Mapping[str, Any]) -> pd.DataFrame:
    # pandas would look at every text to choose a type for its column.
    return pd.DataFrame({name: pd.Series(values, dtype=values.dtype) for name, values in columns.items()})


def _problems(table: Table) -> pd.DataFrame:
    names = [one.name for one in fields(CellProblem)]
    return pd.DataFrame([[getattr(one, name) for name in names] for one in table.problems], columns=names)
