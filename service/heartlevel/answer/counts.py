"""How many readings were received, assessed and lost, in all and by setting, and why."""

from collections import Counter
from collections.abc import Iterable
from typing import Any

from heartlevel.assessment import Assessment
from heartlevel.vocabulary import SETTINGS

UNKNOWN = "unknown"


def counts(assessment: Assessment, subject: int) -> dict[str, Any]:
    """Return a subject's counts as they stand in the answer."""
    batch = assessment.batch
    by_code = Counter(batch.setting[batch.rows_of(subject)].tolist())
    assessed = {name: by_code[code] for code, name in enumerate(SETTINGS) if code in by_code}
    readings = batch.requests[subject].lost
    lost = Counter(reading.setting or UNKNOWN for reading in readings)
    settings = [name for name in (*SETTINGS, UNKNOWN) if assessed.get(name) or lost[name]]
    return {
        **_counted(by_code.total(), lost.total()),
        "by_setting": {name: _counted(assessed.get(name, 0), lost[name]) for name in settings},
        "lost_because": _in_order(code for reading in readings for code in reading.codes),
    }


def _counted(assessed: int, lost: int) -> dict[str, int]:
    return {"received": assessed + lost, "assessed": assessed, "lost": lost}


def _in_order(codes: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(codes).items()))
