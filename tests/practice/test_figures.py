"""What a practice is told: the same as pandas and scipy make of the tables, nothing of few people, whatever the order."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from pyarrow import parquet
from scipy import stats

from heartlevel.command.main import main
from heartlevel.practice import folder as reading
from heartlevel.practice.figures import practice_figures
from heartlevel.practice.folder import Folder, NoPracticeTables
from practice.clinic import FEW, tables
from support import rules

GRAVE = ["unusable", "doubtful"]
__all__ = ["tables"]


@pytest.fixture(scope="module")
def figures(tables):
    return practice_figures(Folder(tables), rules().ruleset)


@pytest.fixture(scope="module")
def frames(tables):
    return {path.stem: parquet.read_table(path).to_pandas() for path in tables.iterdir()}


def test_people_readings_and_categories_are_those_of_pandas(figures, frames):
    subjects = frames["subjects"]
    assert figures["people"] == {"assessed": subjects["subject"].nunique(), "assessments": len(subjects)}
    assert figures["readings"]["lost"] == subjects["readings_lost"].sum()
    assert figures["readings"]["assessed"] == len(frames["readings"])
    assert figures["urgent"]["people"] == subjects["urgent"].sum() > 0
    assert figures["categories"]["with"] == subjects["category"].notna().sum()
    for told, column in (("by_category", "category"), ("without_because", "reason")):
        counts = subjects[column].value_counts()
        shown = {name: count for name, count in figures["categories"][told].items() if count is not None}
        assert shown == counts[list(shown)].to_dict()
        assert set(figures["categories"][told]) == set(counts.index)
    assert figures["categories"]["by_category"]["stage-1"] >= 5


def test_what_categories_rest_on_is_counted_from_the_readings(figures, frames):
    readings, subjects = frames["readings"], frames["subjects"].set_index("subject")
    averaged = readings[readings["averaged"]].merge(subjects[["setting"]], left_on="subject", right_index=True)
    own = averaged[averaged["setting_x"] == averaged["setting_y"]]
    share = (own["reliability"] == "not-documented").groupby(own["subject"]).mean()
    share = share[share.index.isin(subjects.index[subjects["category"].notna()])]
    bins = {"all": share == 1, "half-or-more": (share >= 0.5) & (share < 1), "less-than-half": (share > 0) & (share < 0.5),
            "none": share == 0}  # fmt: skip
    told = figures["categories"]["readings_not_documented"]
    assert {name: n for name, n in told.items() if n is not None} == {
        name: int(marks.sum()) for name, marks in bins.items() if told.get(name) is not None
    }
    assert sum(int(marks.sum()) for marks in bins.values()) == figures["categories"]["with"]


def test_faults_are_those_of_pandas_and_none_of_few_people_is_there(figures, frames):
    fired = frames["findings"][~frames["findings"]["urgent"]]
    by_rule = fired.groupby("rule")
    people, rows = by_rule["subject"].nunique(), dict(list(by_rule))
    assert [fault["people"] for fault in figures["faults"]] == sorted(
        (f["people"] for f in figures["faults"]), reverse=True
    )
    for fault in figures["faults"]:
        own = rows[fault["rule"]]
        assert fault["people"] == people[fault["rule"]] >= 5
        assert fault["readings"] == own["readings"].sum()
        for effect, told in zip(GRAVE, ("readings_set_aside", "readings_doubtful"), strict=True):
            assert fault[told] == own.loc[own["effect"] == effect, "readings"].sum()
        away = own.loc[own["takes_category_away"], "subject"].nunique()
        assert fault["people_without_category"] == (away if away >= 5 or not away else None)
        for pressure, ends in fault["off_by"].items():
            least, most = own[f"{pressure}_off_least"].min(), own[f"{pressure}_off_most"].max()
            assert ends is None if np.isnan(least) else ends == [round(least, 1), round(most, 1)]
    named = {fault["rule"] for fault in figures["faults"]}
    graver = {rule for rule, group in rows.items() if group["effect"].isin(GRAVE).any() and people[rule] >= 5}
    assert graver and graver <= named
    legs = next(fault for fault in figures["faults"] if fault["rule"] == "legs-crossed")
    assert legs["off_by"]["systolic"] == [2.5, 14.9]  # rules/reading/posture.yaml
    assert next(fault for fault in figures["faults"] if fault["rule"] == "picked-from-several")["readings_set_aside"] > 300


def test_a_ward_whose_device_reads_high_stands_out_as_scipy_finds(figures, frames):
    (grouping,) = [g for g in figures["groups"]["groupings"] if (g["by"], g["where"]) == ("device", "office")]
    assert [group["name"] for group in grouping["groups"]] == ["ward-b", "ward-a"]  # the larger first
    assert grouping["groups_withheld"] >= 1
    (difference,) = grouping["differences"]
    assert difference["group"] == "ward-b"
    readings = frames["readings"]
    usable = readings[(readings["reliability"] != "unusable") & readings["device"].isin(["ward-a", "ward-b"])]
    usable = usable[usable["setting"].isin(["office", "office-unattended"])]
    means = usable.pivot_table(index="subject", columns="device", values="systolic", aggfunc="mean")
    both = means.dropna()
    share = 1 - 0.05 / figures["groups"]["intervals"]
    wanted = stats.ttest_rel(both["ward-b"], both["ward-a"]).confidence_interval(share)
    within = difference["within_people"]
    assert within["people"] == len(both)
    assert within["systolic"]["interval95_together"] == pytest.approx(wanted, abs=0.051)
    assert within["systolic"]["differs"]
    apart = means["ward-b"].mean() - means["ward-a"].mean()
    assert difference["from_the_others"]["systolic"]["mean"] == pytest.approx(apart, abs=0.051)


def test_the_same_groups_without_a_difference_are_not_said_to_differ(figures):
    (grouping,) = [g for g in figures["groups"]["groupings"] if (g["by"], g["where"]) == ("taken_by", "office")]
    assert not any(difference["from_the_others"]["diastolic"]["differs"] for difference in grouping["differences"])


def test_no_person_and_no_device_of_few_is_in_what_is_told(figures, frames):
    text = json.dumps(figures)
    names = {
        *frames["subjects"]["subject"],
        FEW[1],
        *(name for name in frames["readings"]["device"].dropna() if name[:4] == "own-"),
    }
    assert not [name for name in names if f'"{name}"' in text]
    assert frames["readings"]["device"].eq(FEW[1]).any()


def numbers_of_people(figures):
    """Every number of people that is told but the totals of the whole practice."""
    categories = figures["categories"]
    for name in ("by_category", "without_because", "readings_not_documented"):
        yield from categories[name].values()
    yield categories["doubtful_readings_alone"]
    yield from figures["device_checks"]["people_by_verdict"].values()
    for fault in figures["faults"]:
        yield from (fault["people"], fault["people_without_category"])
    for grouping in figures["groups"]["groupings"]:
        yield from (group["people"] for group in grouping["groups"])
        yield from (one["within_people"]["people"] for one in grouping["differences"] if one["within_people"])


@pytest.mark.parametrize("smallest", [2, 5, 12, 30])
def test_no_number_of_fewer_people_than_asked_for_is_told(tables, smallest):
    told = practice_figures(Folder(tables), rules().ruleset, smallest)
    assert all(number is None or number == 0 or number >= smallest for number in numbers_of_people(told))
    for counts in (told["categories"]["by_category"], told["categories"]["without_because"]):
        assert list(counts.values()).count(None) != 1 or len(counts) == 1  # it would follow from the total and the others


def test_the_same_tables_give_the_same_bytes_however_many_rows_are_read_together(tables, figures, monkeypatch):
    monkeypatch.setattr(reading, "ROWS_TOGETHER", 97)
    assert json.dumps(practice_figures(Folder(tables), rules().ruleset)) == json.dumps(figures)


def test_what_is_urgent_is_first_then_what_costs_most(figures):
    first = figures["act_first"]
    assert first[0] == {"code": "urgent", "about": None, "people": figures["urgent"]["people"]}
    fault = next(one for one in first if one["code"] == "fault")
    assert fault["about"] == "picked-from-several"


def test_too_few_people_and_tables_that_are_none_are_refused_by_name(tables, tmp_path):
    with pytest.raises(NoPracticeTables, match="nothing is told of fewer than 500"):
        practice_figures(Folder(tables), rules().ruleset, 500)
    (tmp_path / "readings.parquet").write_bytes(b"no table")
    with pytest.raises(NoPracticeTables, match="readings.parquet: no Parquet file"):
        Folder(tmp_path)
    (tmp_path / "readings.parquet").unlink()
    result = CliRunner().invoke(main, ["practice", str(tmp_path)])
    assert result.exit_code == 2
    assert [line.rpartition("/")[2] for line in result.stderr.splitlines()] == [
        *(f"{name}.parquet: not there" for name in ("subjects", "findings", "readings", "device_checks")),
        "`heartlevel assess FILES --to tables --output FOLDER` makes them",
    ]


def test_tables_of_other_rules_are_said_to_be(tables, figures):
    assert figures["made_with"]["tables_by_other_rules"] == []
