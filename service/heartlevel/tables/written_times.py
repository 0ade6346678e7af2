"""Times of a whole column, read at once where they are surely those of a real date and hour.

Exact: what is read here is what `moments.moment_of` reads. Whatever is not sure is marked, and looked at alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from types import ModuleType
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow
from pyarrow import compute

from heartlevel.columns import Bools, Floats, Ints
from heartlevel.intake.written import time_written
from heartlevel.tables.arrow.arrays import as_arrow, as_numpy, texts_as_arrow

MOST_TIMES = 1000  # of a table, looked at for the format they are written in
# So many of them may be slips, or this share; more mean that the format is another one, as it is if none is written so.
FEW_SLIPS, SHARE_OF_SLIPS = 2, 0.1
SHOWN = 3
SECONDS_A_DAY = 86_400
EPOCH = datetime(1970, 1, 1).toordinal()
LOCAL = 19  # characters of 2026-03-02T07:10:00; any more are Z or an offset
ANY_YEAR = (
    r"(?:19|20|21)\d\d-(?:(?:0[1-9]|1[0-2])-(?:0[1-9]|1\d|2[0-8])|(?:0[13-9]|1[0-2])-(?:29|30)|(?:0[13578]|1[02])-31)"
)
LEAP_YEAR = r"(?:2000|(?:19|20|21)(?:0[48]|[2468][048]|[13579][26]))-02-29"
HOUR = r"(?:[01]\d|2[0-3]):[0-5]\d"
SURE = rf"^(?:{ANY_YEAR}|{LEAP_YEAR})[T ]{HOUR}:[0-5]\d(?:Z|[+-]{HOUR})?$"


@dataclass(slots=True)
class Moments:
    """One row a text; where `sure` is false the others mean nothing."""

    instant: Floats  # seconds since 1970-01-01T00:00Z
    local: Ints  # the same by the local wall clock
    sure: Bools


def moments(texts: Sequence[str], zone: ZoneInfo | None) -> Moments:
    """Read the times of a column. `zone` is where local days are counted; times without offset are in it."""
    cells = texts_as_arrow(texts)
    sure: Bools = as_numpy(compute.match_substring_regex(cells, SURE)).copy()
    aware = sure & (as_numpy(compute.binary_length(cells)) > LOCAL)
    instant, local = np.zeros(len(texts), dtype=np.int64), np.zeros(len(texts), dtype=np.int64)
    instant[aware] = _seconds(cells.filter(as_arrow(aware)), "UTC")
    if zone is None:
        local[aware] = _seconds(compute.utf8_slice_codeunits(cells.filter(as_arrow(aware)), 0, LOCAL), None)
        return Moments(instant.astype(np.float64), local, aware)
    naive, pd = np.flatnonzero(sure & ~aware), _pandas()
    clock = pd.DatetimeIndex(_seconds(cells.take(as_arrow(naive)), None).astype("M8[s]"))
    placed = clock.tz_localize(zone, ambiguous="NaT", nonexistent="NaT").as_unit("s")
    instant[naive] = placed.asi8
    sure[naive[placed.isna()]] = False  # clocks skipped or repeated the hour
    shown = pd.DatetimeIndex(instant[sure].astype("M8[s]")).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    local[sure] = shown.as_unit("s").asi8
    return Moments(instant.astype(np.float64), local, sure)


def _pandas() -> ModuleType:
    """Return what knows when clocks of a zone skip and repeat hours; most inputs have no need of it."""
    import pandas

    return pandas


def _seconds(cells: pyarrow.Array, zone: str | None) -> Ints:
    return as_numpy(cells.cast(pyarrow.timestamp("s", zone)).cast(pyarrow.int64()))


def day_and_hour(local: Ints) -> tuple[Ints, Floats]:
    """Return the calendar day (proleptic ordinal) and the hours since midnight of wall-clock seconds."""
    day, rest = np.divmod(local, SECONDS_A_DAY)
    return day + EPOCH, rest // 3600 + rest % 3600 // 60 / 60 + rest % 60 / 3600


def times_as_texts(cells: pyarrow.Array) -> pyarrow.Array:
    """Write an Arrow column of times as texts, as Python writes them: with the offsets of their zone if they have one."""
    shown, pd = cells.to_pandas().dt, _pandas()
    clock = shown.tz_localize(None)
    texts = np.datetime_as_string(clock.to_numpy().astype("M8[s]"), unit="s").astype(object)
    if shown.tz is not None:
        offsets = (clock - shown.tz_convert("UTC").dt.tz_localize(None)) // pd.Timedelta(seconds=1)
        endings = {offset: _offset(int(offset)) for offset in offsets.dropna().unique()}
        texts += np.array([endings.get(offset, "") for offset in offsets.tolist()], dtype=object)
    for row in np.flatnonzero((clock.notna() & (clock != clock.dt.floor("s"))).to_numpy()).tolist():
        texts[row] = cells[row].as_py().isoformat()
    return pyarrow.array(texts, pyarrow.string(), mask=clock.isna().to_numpy())


def _offset(seconds: int) -> str:
    return datetime.fromtimestamp(0, timezone(timedelta(seconds=seconds))).isoformat()[LOCAL:]


def format_fault(time_format: str, times: Sequence[tuple[int, str]], numbered: str) -> str | None:
    """Return what is wrong with the format that times are said to be written in; None if they are, or are in ISO 8601.

    `times` are the first of a table, each with its line or row; `numbered` says which of the two. A wrong format that some
    times fit by chance, day and month the other way round, gives wrong dates without a problem.
    """
    otherwise = [number for number, text in times if not _is_written(text, time_format)]
    if len(otherwise) <= max(FEW_SLIPS, SHARE_OF_SLIPS * len(times)) and len(otherwise) < max(len(times), 1):
        return None
    shown = ", ".join(map(str, otherwise[:SHOWN]))
    told = f"of the first {len(times)} times {len(otherwise)} are written otherwise, such as on {numbered} {shown}"
    return f"time_format {time_format!r}: {told}"


def _is_written(text: str, time_format: str) -> bool:
    try:
        datetime.strptime(text, time_format)
    except ValueError:
        return time_written(text) is not None
    return True
