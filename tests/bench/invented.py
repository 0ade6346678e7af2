"""Invented readings as a table, as many as wanted."""

from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow
from pyarrow import csv, parquet

SUBJECTS_TOGETHER = 5_000
PER_SUBJECT = 28  # six days of two sittings of two at home, and four in the office


def readings(subjects: int, seed: int = 1, first: int = 0) -> pd.DataFrame:
    """Return a table of 28 readings a subject, with technique, cuff and arm recorded for some rules to fire.

    The subjects are numbered from `first`.
    """
    chance, size = np.random.default_rng(seed), subjects * PER_SUBJECT
    place = np.tile(np.arange(PER_SUBJECT), subjects)
    after = place // 4 * 86_400 + place // 2 % 2 * 46_800 + place % 2 * 60
    times = np.datetime64("2026-03-01T07:00:00", "s") + after.astype("m8[s]")
    level = np.repeat(chance.normal(132, 14, subjects), PER_SUBJECT)
    systolic = np.clip(np.rint(level + chance.normal(0, 8, size)), 80, 230)
    return pd.DataFrame({
        "subject": np.repeat([f"s-{one}" for one in range(first, first + subjects)], PER_SUBJECT),
        "taken_at": [one + "+01:00" for one in np.datetime_as_string(times, "s").tolist()],
        "systolic": systolic,
        "diastolic": np.rint(systolic * 0.6 + chance.normal(0, 5, size)),
        "pulse": chance.integers(50, 100, size),
        "setting": np.where(place < 24, "home", "office"),
        "site": "left-upper-arm",
        "technique.back_supported": chance.random(size) > 0.05,
        "technique.legs_crossed": chance.random(size) > 0.95,
        "technique.talking": chance.random(size) > 0.97,
        "technique.arm_height_cm": np.where(chance.random(size) > 0.9, -12.0, 0.0),
        "technique.rested_minutes": np.where(chance.random(size) > 0.95, 1.0, 5.0),
        "cuff.arm_min_cm": 22.0,
        "cuff.arm_max_cm": 32.0,
        "subject.age_years": 50,
        "subject.arm_circumference_cm.left": np.repeat(chance.integers(20, 36, subjects), PER_SUBJECT).astype(float),
    })  # fmt: skip


def write(path: Path, subjects: int) -> None:
    """Write such a table as Parquet or CSV, some thousand subjects at a time; those of one stand together."""
    with ExitStack() as stack:
        writer = None
        for first in range(0, subjects, SUBJECTS_TOGETHER):
            frame = readings(min(SUBJECTS_TOGETHER, subjects - first), seed=first, first=first)
            table = pyarrow.Table.from_pandas(frame, preserve_index=False)
            if writer is None:
                new = parquet.ParquetWriter if path.suffix == ".parquet" else csv.CSVWriter
                writer = stack.enter_context(new(path, table.schema))
            writer.write_table(table)
