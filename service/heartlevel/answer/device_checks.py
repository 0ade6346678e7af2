"""How devices agree with their references, as it stands in the answer."""

from typing import Any

import numpy as np

from heartlevel.answer.numbers import pair, rounded
from heartlevel.assessment import Assessment
from heartlevel.columns import Floats
from heartlevel.statistics.accuracy_standard import Standard
from heartlevel.statistics.agreement import VERDICTS, Agreement
from heartlevel.statistics.comparisons import PRESSURES
from heartlevel.statistics.procedure import PROCEDURE_VERDICTS, Procedure

P_PLACES, SLOPE_PLACES, SD_PLACES = 4, 3, 2


def device_checks(of: Assessment, subject: int) -> list[dict[str, Any]]:
    """Return how the subject's devices agree with their references."""
    columns = np.flatnonzero(of.checks.subject_of == subject).tolist()
    return [
        {
            "device": check["device"],
            "reference_device": check.get("reference_device"),
            **_agreement(of.checks.agreement, place),
            "standard": _standard(of.checks.standard, of.checks.agreement, place),
            "procedure": _procedure(of.checks.procedure, place),
        }
        for check, place in zip(of.batch.requests[subject].checks, columns, strict=True)
    ]


def _agreement(of: Agreement, place: int) -> dict[str, Any]:
    pressures = list(enumerate(PRESSURES))
    return {
        "pairs": int(of.pairs[place]),
        "occasions": int(of.occasions[place]),
        "verdict": VERDICTS[int(of.verdict[place])],
        "bias": {
            name: {"mean": rounded(of.bias[row, place]), "interval95": _ends(of.bias_interval95[:, row, place])}
            for row, name in pressures
        },
        "sd": {name: rounded(of.sd[row, place]) for row, name in pressures},
        "limits95": {name: pair(of.low[row, place], of.high[row, place]) for row, name in pressures},
        "limits95_intervals": {
            name: {
                "low": _ends(of.low_interval95[:, row, place]),
                "high": _ends(of.high_interval95[:, row, place]),
            }
            for row, name in pressures
        },
        "proportional_bias": {
            name: {
                "slope": rounded(of.slope.slope[row, place], SLOPE_PLACES),
                "interval95": _ends(of.slope.interval95[:, row, place], SLOPE_PLACES),
                "p": rounded(of.slope.p[row, place], P_PLACES),
            }
            for row, name in pressures
        },
    }


def _ends(interval: Floats, places: int = 1) -> list[float | None] | None:
    return pair(interval[0], interval[1], places)


def _standard(of: Standard, agreed: Agreement, place: int) -> dict[str, Any] | None:
    """Return the standard's criteria where pairs were taken of several people, as far as they were named."""
    if not 1 < agreed.occasions[place] < agreed.pairs[place]:
        return None
    return {
        "enough": bool(of.enough[place]),
        **{
            name: {
                "mean": rounded(of.mean[row, place], SD_PLACES),
                "sd": rounded(of.sd[row, place], SD_PLACES),
                "criterion_1": bool(of.first[row, place]),
                "sd_of_people": rounded(of.sd_of_people[row, place], SD_PLACES),
                "largest_sd_of_people": rounded(of.largest_sd[row, place], SD_PLACES),
                "criterion_2": bool(of.second[row, place]),
            }
            for row, name in enumerate(PRESSURES)
        },
    }


def _procedure(of: Procedure, place: int) -> dict[str, Any] | None:
    """Return what the stepwise check says where a sequence was sent."""
    if np.isnan(of.verdict[place]):
        return None
    return {
        "verdict": PROCEDURE_VERDICTS[int(of.verdict[place])],
        "differences": {
            name: {pressure: rounded(values[row, place]) for row, pressure in enumerate(PRESSURES)}
            for name, values in (("first", of.first), ("second", of.second))
        },
    }
