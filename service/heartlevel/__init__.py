"""heartlevel: judges blood-pressure readings by declarative rules and averages them by published protocols.

>>> import heartlevel
>>> rules = heartlevel.Rules.load()
>>> answer = heartlevel.answer_to({"subject": {"id": "s-01"}, "readings": []}, rules)
"""

from typing import TYPE_CHECKING, Any

from heartlevel.assessment import Rules
from heartlevel.intake.request import RefusedRequest, TooManyReadings
from heartlevel.one_call import answer_to
from heartlevel.ruling.language.faults import RuleFaults
from heartlevel.safeguards import checks as safeguards
from heartlevel.version import VERSION as __version__

if TYPE_CHECKING:
    from pandas import DataFrame

    from heartlevel.frames import Result

__all__ = ["RefusedRequest", "RuleFaults", "Rules", "TooManyReadings", "__version__", "answer_to", "assess", "safeguards"]


def assess(frame: "DataFrame", rules: Rules | None = None, **options: Any) -> "Result":
    """Assess a table of one row a reading, by the shipped rules unless others are given; see `frames.assess_frame`.

    `options` are those of a request: `guideline`, `protocol`, `time_zone`, `as_of`. Raises RefusedRequest.
    """
    from heartlevel.frames import assess_frame  # pandas is loaded only for those who use it

    return assess_frame(frame, rules or Rules.load(), options)
