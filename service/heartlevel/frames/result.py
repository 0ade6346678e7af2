"""The tables that come of a table, and how a notebook shows them."""

from dataclasses import dataclass
from html import escape

import pandas as pd

MOST_SHOWN = 10  # subjects
SHOWN = ("subject", "urgency", "category", "reason", "sureness", "systolic", "diastolic", "pattern", "conclusion")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a table. Pressures are in mm[Hg] and not rounded; NaN or None is unknown.

    `readings`: a row for each reading that was assessed: `row` (its place in the table, from 0), `subject`, `id`,
    `reliability`, `systolic`, `diastolic`, `mean_arterial`, `pulse_pressure`, how it was taken (`setting`, `taken_by`,
    `site`, `device`), whether it is `averaged` by the protocol.
    `findings`: a row for each rule that fired for a subject: `subject`, `rule`, `scope`, `severity`, `urgent`, `urgency`
    (its level), `effect`, `readings` (how many are concerned; 0 for rules about the whole series), `first_row` (−1 for
    those), `takes_category_away` (there is no category, and the rule is among the reasons), `systolic_off_least` and so
    on (how much too high it makes readings by published size). Where a `language` was asked for also `title`,
    `explanation` and `advice`.
    `averages`: a row for each `subject`, `setting` and `basis` with readings: `readings`, `days`, and for `systolic`,
    `diastolic` and `pulse` each `_mean`, `_sd`, `_mean_of_days`, `_low95`, `_high95`.
    `subjects`: a row a subject: `category` (or the `reason` for none), its `setting`, pressures and whether it
    `holds`, `pattern`, `urgent`, `urgency`, the coverage (`home_days` and so on), readings received, assessed and lost,
    and how many the category rests on, not documented or doubtful (`category_readings` and so on).
    Where a `language` was asked for also `conclusion` and `for_patient`.
    `device_checks`: a row for each device check: `device`, `verdict`, `systolic_bias`; a table of readings has none.
    `problems`: what could not be read: `row` (−1: the whole column), `column` (none: the whole row), `code`, `detail`,
    `hint`, and where there is no answer the `urgency` of what is legible.
    """

    readings: pd.DataFrame
    findings: pd.DataFrame
    averages: pd.DataFrame
    subjects: pd.DataFrame
    device_checks: pd.DataFrame
    problems: pd.DataFrame

    def _repr_html_(self) -> str:
        """Return what a notebook shows: how much there is of what, and the first subjects, urgent ones first."""
        counts = {name: len(getattr(self, name)) for name in ("subjects", "readings", "findings", "problems")}
        urgent = int(self.subjects["urgent"].sum())
        told = ", ".join(f"{count} {name}" for name, count in counts.items()) + f"; urgent: {urgent}"
        first = self.subjects.sort_values("urgent", ascending=False, kind="stable").head(MOST_SHOWN)
        columns = [name for name in SHOWN if name in first]
        head = "".join(f"<th>{escape(name)}</th>" for name in columns)
        rows = "".join(
            "<tr>" + "".join(f"<td>{escape(_cell(value))}</td>" for value in row) + "</tr>"
            for row in first[columns].itertuples(index=False)
        )
        left = len(self.subjects) - len(first)
        more = f"<p>and {left} more in <code>.subjects</code></p>" if left else ""
        caution = "Not a diagnosis: the local protocol and a licensed clinician decide."
        table = f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
        return f"<div><p>{escape(told)}</p>{table}{more}<p>{caution}</p></div>"


def _cell(value: object) -> str:
    if value is None or value != value:
        return ""
    return f"{value:.0f}" if isinstance(value, float) else str(value)
