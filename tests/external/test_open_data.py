"""Real pressures, from the open NHEFS follow-up data (source: the data set `nhefs` of causaldata; published)."""

import numpy as np
import pandas as pd
import pytest
from causaldata import nhefs

from heartlevel.answer.whole import answers
from heartlevel.assessment import assess_requests
from heartlevel.intake.request import read
from heartlevel.statistics.selection import UNUSABLE
from support import average, reading, rules


@pytest.fixture(scope="module")
def people() -> pd.DataFrame:
    return nhefs.load_pandas().data[["sbp", "dbp", "age"]].dropna().reset_index(drop=True)


@pytest.fixture(scope="module")
def assessment(people):
    requests = [
        read(
            {
                "subject": {"id": f"n-{place}", "age_years": person.age},
                "readings": [reading("2026-03-02T10:00:00Z", person.sbp, person.dbp, setting="office")],
            },
            rules().ruleset.choices,
        )
        for place, person in enumerate(people.itertuples())
    ]
    return assess_requests(requests, rules())


def test_the_data_set_has_over_a_thousand_people(people):
    assert len(people) > 1000


def test_no_adults_pressure_is_thought_unusable(people, assessment):
    assert assessment.batch.size == len(people)
    unusable = [people.loc[place].tolist() for place in np.flatnonzero(assessment.reliability == UNUSABLE)]
    assert unusable == []


def test_the_averages_are_the_pressures(people, assessment):
    for place, (person, found) in enumerate(zip(people.itertuples(), answers(assessment), strict=True)):
        mean = average(found, "office", "all")
        assert (mean["systolic"]["mean"], mean["diastolic"]["mean"]) == (person.sbp, person.dbp), place


@pytest.mark.parametrize(("column", "pressure"), [("sbp", "systolic"), ("dbp", "diastolic")])
def test_the_mean_over_everyone_taken_as_one_person_is_that_of_pandas(people, column, pressure):
    readings = [
        reading(str(moment), person.sbp, person.dbp, setting="home")
        for moment, person in zip(
            pd.date_range("2026-01-01", periods=len(people), freq="40min", tz="UTC").strftime("%Y-%m-%dT%H:%M:%SZ"),
            people.itertuples(),
            strict=True,
        )
    ]
    payload = {"subject": {"id": "all"}, "readings": readings, "options": {"time_zone": "UTC"}}
    averages = assess_requests([read(payload, rules().ruleset.choices)], rules()).averages
    place = ("systolic", "diastolic").index(pressure), averages.row("all"), 0
    assert averages.mean[place] == pytest.approx(people[column].mean(), rel=1e-12)
    assert averages.sd[place] == pytest.approx(people[column].std(), rel=1e-12)


def test_readings_in_the_severe_range_are_urgent_and_no_others(people, assessment):
    severe = (people.sbp >= 180) | (people.dbp >= 120) | (people.sbp < 80)
    assert [found["urgent"] for found in answers(assessment)] == severe.tolist()
