"""A clinic of eighty invented people, assessed to tables, with the demo's device checks."""

import numpy as np
import pandas as pd
import pytest

from bench.invented import readings
from support import as_ndjson, assess_in_process, demo

FEW = ("Mx Rare", "rare-device")


def clinic() -> pd.DataFrame:
    """Eighty people; two wards' devices, of which one reads 9 mm[Hg] high; one used with three people alone."""
    frame = readings(80, seed=3)
    person = frame["subject"].str.removeprefix("s-").astype(int)
    office, late = frame["setting"] == "office", frame["taken_at"] >= "2026-03-07T12"
    device = np.where((person % 3 == 0) | ((person % 3 == 1) & late), "ward-b", "ward-a")
    frame["device"] = np.where(office, np.where(person < 3, FEW[1], device), "own-" + frame["subject"])
    frame["taken_by"] = np.where(office, np.where(person % 4 == 0, "unattended", "staff"), "self")
    frame.loc[office & (frame["device"] == "ward-b"), "systolic"] += 9
    frame.loc[0, "systolic"] = 231
    frame["subject"] = "p" + frame["subject"]  # none of the demo
    frame.loc[person == 0, "subject"] = FEW[0]
    frame["selected_from"] = np.where((person % 5 == 0) & ~office, 4, np.nan)
    return frame


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """The clinic's tables in a folder."""
    path = tmp_path_factory.mktemp("clinic")
    clinic().to_parquet(path / "clinic.parquet")
    checks = [one for one in demo() if one.get("device_checks")]
    (path / "checks.ndjson").write_bytes(as_ndjson(checks))
    files = path / "clinic.parquet", path / "checks.ndjson"
    result = assess_in_process(*files, "--to", "tables", "--output", path / "out")
    assert result.exit_code in (0, 10, 30), result.output
    return path / "out"
