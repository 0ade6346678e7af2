"""heartlevel: judges blood-pressure readings by declarative rules and averages them by published protocols.

>>> import heartlevel
>>> rules = heartlevel.Rules.load()
>>> answer = heartlevel.answer_to({"subject": {"id": "s-01"}, "readings": []}, rules)
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Unpack

from heartlevel.collector import collector_off
from heartlevel.version import VERSION as __version__

with collector_off():
    from heartlevel.assessment import Rules
    from heartlevel.intake.request import RefusedRequest, TooManyReadings
    from heartlevel.one_call import answer_to
    from heartlevel.ruling.language.faults import RuleFaults
    from heartlevel.safeguards import checks as safeguards

if TYPE_CHECKING:
    from pandas import DataFrame

    from heartlevel.frames import Result
    from heartlevel.frames.asked import ColumnMap, ColumnMeaning, FrameOptions

__all__ = ["RefusedRequest", "RuleFaults", "Rules", "TooManyReadings", "__version__", "answer_to", "assess", "safeguards"]


def assess(
    frame: "DataFrame",
    rules: Rules | None = None,
    *,
    columns: "Mapping[str, str | ColumnMeaning] | None" = None,
    fixed: Mapping[str, Any] | None = None,
    time_format: str | None = None,
    decimal: str | None = None,
    ignore: Sequence[str] | str | None = None,
    **options: "Unpack[FrameOptions]",
) -> "Result":
    """Assess a table of one row a reading, by the shipped rules unless others are given; see `frames.assess_frame`.

    `columns` says what columns of other names mean: `{"SYS": "systolic", "DIA": {"to": "diastolic", "unit": "kPa"}}`.
    `fixed` is what all rows say, such as `{"setting": "home"}`; `time_format` and `decimal` how cells are written, `ignore`
    which columns are left out. `options` are those of a request: `guideline`, `protocol`, `time_zone`, `as_of`, `target`;
    with a `language` the tables have words too.

    Raises RefusedRequest, whose text names what is wrong with columns and options, and what may be meant.
    """
    from heartlevel.frames import assess_frame  # pandas is loaded only for those who use it

    written = {"columns": columns, "fixed": fixed, "time_format": time_format, "decimal": decimal, "ignore": ignore}
    column_map: ColumnMap = {name: value for name, value in written.items() if value is not None}  # type: ignore[assignment]
    return assess_frame(frame, rules or Rules.load(), options, column_map)
