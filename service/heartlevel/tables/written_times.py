"""Times of a whole column: the usual ways of writing one are read by place, digit by digit, for all rows at once.

Exact: what is read here is what `moments.moment_of` reads. Whatever is not sure is marked, and looked at alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow

from heartlevel.columns import Bools, Floats, Ints

SECONDS_A_DAY = 86_400
EPOCH = datetime(1970, 1, 1).toordinal()
LOCAL, IN_UTC, WITH_OFFSET = 19, 20, 25  # characters of 2026-03-02T07:10:00, with Z, with +01:00
BETWEEN = {4: "-", 7: "-", 10: "Tt ", 13: ":", 16: ":"}
DIGITS = (0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17, 18)
OFFSET_DIGITS = (20, 21, 23, 24)
Characters = npt.NDArray[np.uint8] | npt.NDArray[np.uint32]


@dataclass(slots=True)
class Moments:
    """One row a text; where `sure` is false the others mean nothing."""

    instant: Floats  # seconds since 1970-01-01T00:00Z
    local: Ints  # the same by the local wall clock
    sure: Bools


def moments(texts: Sequence[str], zone: ZoneInfo | None) -> Moments:
    """Read the times of a column. `zone` is where local days are counted; times without offset are in it."""
    length = np.fromiter(map(len, texts), dtype=np.int64, count=len(texts))
    characters = _characters(texts, length)
    wall, sure = _wall_clock(characters)
    offset, with_offset = _offsets(characters)
    in_utc = (length == IN_UTC) & _is(characters[LOCAL], "Zz")
    aware = in_utc | (with_offset & (length == WITH_OFFSET))
    instant: Ints = wall - np.where(in_utc, 0, offset)
    if zone is None:
        return Moments(instant.astype(np.float64), wall, sure & aware)
    naive = sure & (length == LOCAL)
    placed, once = _placed(wall, naive, zone)
    instant = np.where(naive, placed, instant)
    sure &= aware | once
    return Moments(instant.astype(np.float64), _by_clock(instant, sure, zone), sure)


def _characters(texts: Sequence[str], length: Ints) -> Characters:
    """Return the characters of all texts, a row each place in the text; what is longer than a time is cut off."""
    alike = len(texts) > 0 and bool((length == WITH_OFFSET).all())
    whole = "".join(texts if alike else [text[:WITH_OFFSET].ljust(WITH_OFFSET) for text in texts])
    kind = np.dtype(np.uint8 if whole.isascii() else np.uint32)
    by_text = np.frombuffer(whole.encode("ascii" if kind.itemsize == 1 else "utf-32-le", "surrogatepass"), dtype=kind)
    return np.ascontiguousarray(by_text.reshape(len(texts), WITH_OFFSET).T)


def _is(column: Characters, allowed: str) -> Bools:
    fits = np.zeros(len(column), dtype=bool)
    for character in allowed:
        fits |= column == ord(character)
    return fits


def _number(characters: Characters, *positions: int) -> Ints:
    value = np.zeros(characters.shape[1], dtype=np.int32)
    for position in positions:
        value = value * 10 + (characters[position].astype(np.int32) - ord("0"))
    return value.astype(np.int64)


def _all_digits(characters: Characters, positions: Sequence[int]) -> Bools:
    # Below "0" the difference wraps round to a large number.
    wanted = np.ones(characters.shape[1], dtype=bool)
    for position in positions:
        wanted &= characters[position] - characters.dtype.type(ord("0")) <= 9
    return wanted


def _wall_clock(characters: Characters) -> tuple[Ints, Bools]:
    """Return the seconds of the wall clock, and where they are those of a real date and time."""
    sure = _all_digits(characters, DIGITS)
    for position, allowed in BETWEEN.items():
        sure &= _is(characters[position], allowed)
    year, month, day = (_number(characters, *digits) for digits in ((0, 1, 2, 3), (5, 6), (8, 9)))
    hour, minute, second = (_number(characters, *digits) for digits in ((11, 12), (14, 15), (17, 18)))
    sure &= (year >= 1900) & (year <= 2199) & (month >= 1) & (month <= 12)
    months = np.where(sure, (year - 1970) * 12 + month - 1, 0)
    first, after = (month.astype("M8[M]").astype("M8[D]").astype(np.int64) for month in (months, months + 1))
    sure &= (day >= 1) & (day <= after - first) & (hour <= 23) & (minute <= 59) & (second <= 59)
    return (first + day - 1) * SECONDS_A_DAY + hour * 3600 + minute * 60 + second, sure


def _offsets(characters: Characters) -> tuple[Ints, Bools]:
    sign = characters[LOCAL]
    hours, minutes = _number(characters, 20, 21), _number(characters, 23, 24)
    there = _is(sign, "+-") & (characters[22] == ord(":")) & _all_digits(characters, OFFSET_DIGITS)
    size = hours * 3600 + minutes * 60
    return np.where(sign == ord("-"), -size, size), there & (hours <= 23) & (minutes <= 59)


def _placed(wall: Ints, rows: Bools, zone: ZoneInfo) -> tuple[Ints, Bools]:
    """Place wall-clock times in their zone; not sure where clocks skip or repeat an hour."""
    placed, once = np.zeros(len(wall), dtype=np.int64), np.zeros(len(wall), dtype=bool)
    clock = pd.DatetimeIndex(wall[rows].astype("M8[s]"))
    aware = clock.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    known = np.logical_not(aware.isna())
    once[rows] = known
    placed[once] = aware[known].as_unit("s").asi8
    return placed, once


def _by_clock(instant: Ints, rows: Bools, zone: ZoneInfo) -> Ints:
    """Return what the clocks of a zone show at instants."""
    local = np.zeros(len(instant), dtype=np.int64)
    shown = pd.DatetimeIndex(instant[rows].astype("M8[s]")).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    local[rows] = shown.as_unit("s").asi8
    return local


def day_and_hour(local: Ints) -> tuple[Ints, Floats]:
    """Return the calendar day (proleptic ordinal) and the hours since midnight of wall-clock seconds."""
    day, rest = np.divmod(local, SECONDS_A_DAY)
    return day + EPOCH, rest // 3600 + rest % 3600 // 60 / 60 + rest % 60 / 3600


def times_as_texts(cells: pyarrow.Array) -> pyarrow.Array:
    """Write an Arrow column of times as texts, as Python writes them: with the offsets of their zone if they have one."""
    shown = cells.to_pandas().dt
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
