"""How devices agree with their references, as it stands in the answer."""

from collections.abc import Callable
from typing import Any

import numpy as np

from heartlevel.columns import Floats
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.numbers import rounded, rounded_interval
from heartlevel.ruling.language.template import Voice
from heartlevel.statistics.accuracy_standard import Standard
from heartlevel.statistics.agreement import VERDICTS, Agreement
from heartlevel.statistics.procedure import PROCEDURE_VERDICTS
from heartlevel.vocabulary import PRESSURES

P_DECIMALS, SLOPE_DECIMALS, SD_DECIMALS = 4, 3, 2


def checks_written(conclusions: Conclusions, subject: int) -> list[dict[str, Any]]:
    """Return how the subject's devices agree with their references."""
    batch, checks = conclusions.assessment.batch, conclusions.assessment.checks
    if not batch.requests[subject].checks:
        return []
    columns = np.flatnonzero(checks.subject_of == subject).tolist()
    return [
        {
            "device": check["device"],
            "reference_device": check.get("reference_device"),
            **_agreement(checks.agreement, column),
            "standard": _standard(checks.standard, column) if conclusions.standard_applies[column] else None,
            "procedure": _procedure(conclusions, subject, column),
        }
        for check, column in zip(batch.requests[subject].checks, columns, strict=True)
    ]


def _agreement(agreement: Agreement, column: int) -> dict[str, Any]:
    slope = agreement.slope
    return {
        "pairs": int(agreement.pairs[column]),
        "occasions": int(agreement.occasions[column]),
        "verdict": VERDICTS[int(agreement.verdict[column])],
        "bias": _by_pressure(
            lambda row: {
                "mean": rounded(agreement.bias[row, column]),
                "interval95": _ends(agreement.bias_interval95[:, row, column]),
            }
        ),
        "sd": _by_pressure(lambda row: rounded(agreement.sd[row, column])),
        "limits95": _by_pressure(lambda row: rounded_interval(agreement.low[row, column], agreement.high[row, column])),
        "limits95_intervals": _by_pressure(
            lambda row: {
                "low": _ends(agreement.low_interval95[:, row, column]),
                "high": _ends(agreement.high_interval95[:, row, column]),
            }
        ),
        "proportional_bias": _by_pressure(
            lambda row: {
                "slope": rounded(slope.slope[row, column], SLOPE_DECIMALS),
                "interval95": _ends(slope.interval95[:, row, column], SLOPE_DECIMALS),
                "p": rounded(slope.p[row, column], P_DECIMALS),
            }
        ),
    }


def _ends(interval: Floats, decimals: int = 1) -> list[float | None] | None:
    return rounded_interval(interval[0], interval[1], decimals)


def _by_pressure(written: Callable[[int], Any]) -> dict[str, Any]:
    return {name: written(row) for row, name in enumerate(PRESSURES)}


def _standard(standard: Standard, column: int) -> dict[str, Any]:
    return {
        "enough": bool(standard.enough[column]),
        **_by_pressure(
            lambda row: {
                "mean": rounded(standard.mean[row, column], SD_DECIMALS),
                "sd": rounded(standard.sd[row, column], SD_DECIMALS),
                "criterion_1": bool(standard.first[row, column]),
                "sd_of_people": rounded(standard.sd_of_people[row, column], SD_DECIMALS),
                "largest_sd_of_people": rounded(standard.largest_sd[row, column], SD_DECIMALS),
                "criterion_2": bool(standard.second[row, column]),
            }
        ),
    }


def _procedure(conclusions: Conclusions, subject: int, column: int) -> dict[str, Any] | None:
    """Return what the stepwise check says where a sequence was sent, and how often chance alone makes it say so."""
    procedure = conclusions.assessment.checks.procedure
    if np.isnan(procedure.verdict[column]):
        return None
    return {
        "verdict": PROCEDURE_VERDICTS[int(procedure.verdict[column])],
        "differences": {
            "first": _by_pressure(lambda row: rounded(procedure.first[row, column])),
            "second": _by_pressure(lambda row: rounded(procedure.second[row, column])),
        },
        "error_rates": _error_rates(conclusions, subject, column),
    }


def _error_rates(conclusions: Conclusions, subject: int, column: int) -> dict[str, Any]:
    assessment = conclusions.assessment
    procedure, limits = assessment.checks.procedure, assessment.protocols[subject].limits
    off_by, sd = (limits[f"protocol.device_check.procedure.{name}"] for name in ("doubtful_within", "sd_of_readings"))
    exact, off = (
        rounded(share[column], SD_DECIMALS) for share in (procedure.replace_though_exact, procedure.usable_though_off)
    )
    language = assessment.batch.requests[subject].language
    words, voice = assessment.rules.wording[language].sureness, Voice(language)
    return {
        "replace_though_exact": exact,
        "usable_though_off": off,
        "off_by": off_by,
        "sd_of_readings": sd,
        "text": words["procedure-error-rates"].format(
            exact=voice.shown(exact, "percent"), off=voice.shown(off, "percent"), by=voice.shown(off_by, "")
        ),
    }
