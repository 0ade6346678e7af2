"""Where, by whom and with what readings were taken, and how devices agreed with their references, as columns."""

from collections.abc import Sequence

import numpy as np

from heartlevel.answer.result_columns.coded import Coded, Parts, names_of_subjects, text_column
from heartlevel.assessment import Assessment
from heartlevel.columns import Floats
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.intake.own.facts import DEVICE, READING
from heartlevel.intake.own.form import TECHNIQUE
from heartlevel.statistics.agreement import VERDICTS
from heartlevel.tables.devices import has_name
from heartlevel.vocabulary import PRESSURES, SETTINGS, SITES, TAKEN_BY

# Facts of a clinic's own are called as in a table that is read.
_OWN_OF = {READING: TECHNIQUE, DEVICE: DEVICE}


def taken_how(assessment: Assessment) -> Parts:
    """Return each reading's setting, who took it, limb and device, and what a clinic's own choices say of it."""
    batch, readings = assessment.batch, assessment.batch.readings
    own = [fact for fact in assessment.rules.choices.form.own if fact.kind == "choice" and fact.recorded_with in _OWN_OF]
    return {
        "setting": Coded(batch.setting, SETTINGS),
        "taken_by": _coded(readings["taken_by"], TAKEN_BY),
        "site": _coded(readings["site"], SITES),
        "device": _coded(
            readings["device_number"], [name if name and has_name(name) else None for name in batch.device_names]
        ),
        **{f"{_OWN_OF[fact.recorded_with]}.{fact.name}": _coded(readings[fact.name], fact.names) for fact in own},
    }


def device_checks_columns(conclusions: Conclusions) -> Parts:
    """Return a row a device check: the device, its reference and how they agree, device less reference in mm[Hg]."""
    assessment = conclusions.assessment
    checks, agreement = assessment.batch.checks, assessment.checks.agreement
    return {
        "subject": Coded(assessment.checks.subject_of, names_of_subjects(assessment)),
        "device": text_column(check["device"] for check in checks),
        "reference_device": text_column(check.get("reference_device") for check in checks),
        "pairs": agreement.pairs.astype(np.int64),
        "verdict": _coded(agreement.verdict, VERDICTS),
        **{f"{name}_bias": agreement.bias[row] for row, name in enumerate(PRESSURES)},
        **{f"{name}_{end}95": agreement.bias_interval95[at, row] for row, name in enumerate(PRESSURES)
           for at, end in enumerate(("low", "high"))},
    }  # fmt: skip


def _coded(numbers: Floats, texts: Sequence[str | None]) -> Coded:
    """Return a column of choices; what is not known is the text after the last, nothing."""
    codes = np.where(np.isnan(numbers), len(texts), np.nan_to_num(numbers)).astype(np.int64)
    return Coded(codes, [*texts, None])
