"""Ambulatory measurement: day, night and all hours, the fall at night, and limits that a guideline does not publish."""

import json
from datetime import datetime, timedelta
from math import isnan

import numpy as np
import pytest
from click.testing import CliRunner

from heartlevel import RuleFaults, Rules
from heartlevel.assessment import assess_requests
from heartlevel.command.main import main
from heartlevel.intake.request import read
from heartlevel.ruling.running.truth import UNKNOWN
from rules.test_layers import layer
from support import answer, rules, rules_fired

MIDNIGHT = datetime.fromisoformat("2026-03-02T00:00:00+01:00")


def worn(day=(120, 75), night=(105, 62), day_readings=20, night_readings=7, asleep=False, **options) -> dict:
    """Half-hourly readings from 9 on, and from 1 on in the night after."""
    times = [(9 + place / 2, day, False) for place in range(day_readings)]
    times += [(25 + place / 2, night, True) for place in range(night_readings)]
    readings = [
        {"taken_at": (MIDNIGHT + timedelta(hours=hours)).isoformat(), "systolic": systolic, "diastolic": diastolic,
         "setting": "ambulatory", **({"asleep": slept} if asleep else {})}
        for hours, (systolic, diastolic), slept in times
    ]  # fmt: skip
    return {"subject": {"id": "x", "age_years": 50}, "readings": readings, "options": options}


def facts(payload: dict, *names: str) -> list[float]:
    found = assess_requests([read(payload, rules().ruleset.choices)], rules()).facts["series"]
    return [float(found[f"ambulatory_{name}"][0]) for name in names]


def test_each_part_is_averaged_by_itself_and_all_hours_together():
    payload = worn((130, 80), (110, 60), 20, 10)
    assert facts(payload, "day_systolic", "day_diastolic", "night_systolic", "night_diastolic") == [130, 80, 110, 60]
    assert facts(payload, "24h_systolic", "24h_diastolic") == pytest.approx([(20 * 130 + 10 * 110) / 30, 2200 / 30])
    assert facts(payload, "night_fall") == pytest.approx([20 / 130])


# source: hours of day and night, common practice: 9 to 21 and 1 to 6
@pytest.mark.parametrize(
    ("hour", "part"),
    [(0.99, None), (1, "night"), (5.99, "night"), (6, None), (8.99, None), (9, "day"), (20.99, "day"), (21, None)],
)
def test_the_clock_divides_where_sleep_was_not_recorded(hour, part):
    payload = worn(day_readings=0, night_readings=1)
    (one,) = payload["readings"]
    one["taken_at"] = (MIDNIGHT + timedelta(hours=hour)).isoformat()
    assert facts(payload, "day_readings", "night_readings") == [part == "day", part == "night"]
    for asleep in (True, False):
        one["asleep"] = asleep  # what was recorded comes first
        assert facts(payload, "day_readings", "night_readings") == [not asleep, asleep]


# source: European Society of Hypertension (published, quoted from memory): 20 readings by day and 7 by night
@pytest.mark.parametrize(("day", "night", "few"), [(19, 7, True), (20, 6, True), (20, 7, False), (21, 8, False)])
def test_twenty_by_day_and_seven_by_night_are_enough(day, night, few):
    found = rules_fired(answer(worn((150, 95), (140, 85), day, night)))
    assert ("too-few-ambulatory-readings" in found) is few
    assert ("ambulatory-day-average-raised" in found) is not few


def test_unusable_readings_are_not_counted():
    payload = worn()
    payload["readings"][0]["site"] = "left-finger"
    assert facts(payload, "readings", "day_readings") == [26, 19]


@pytest.mark.parametrize("part", ["day", "night", "24h"])
@pytest.mark.parametrize("guideline", sorted(rules().ruleset.guidelines))
def test_a_part_is_raised_from_the_guidelines_own_limit_on(guideline, part):
    limits = rules().ruleset.guidelines[guideline].limits
    top, bottom = (limits[f"ambulatory-{part}.hypertension.{name}"] for name in ("systolic", "diastolic"))
    top, bottom = (100, 60) if isnan(top) else (top, bottom)
    published = not isnan(limits[f"ambulatory-{part}.hypertension.systolic"])
    for pair, raised in (((top - 1, bottom - 1), False), ((top, bottom - 1), True), ((top - 1, bottom), True)):
        found = rules_fired(answer(worn(pair, pair, guideline=guideline)))
        assert (f"ambulatory-{part}-average-raised" in found) is (raised and published), pair


@pytest.mark.parametrize("guideline", ["nice-ng136", "isshp-2021"])
def test_a_part_without_a_published_limit_is_neither_raised_nor_not(guideline):
    payload = worn((150, 95), (150, 95), guideline=guideline)
    verdicts = assess_requests([read(payload, rules().ruleset.choices)], rules()).verdicts["series"]
    outcome = {rule.id: int(row[0]) for rule, row in zip(verdicts.rules, verdicts.outcomes, strict=True)}
    assert [outcome[f"ambulatory-{part}-average-raised"] for part in ("night", "24h")] == [UNKNOWN, UNKNOWN]
    assert not np.concatenate([verdicts.undecided[f"ambulatory_{part}_systolic"] for part in ("night", "24h")]).any()


def test_an_explanation_says_that_a_limit_is_not_published():
    asked = json.dumps(worn((150, 95), (150, 95), guideline="nice-ng136"))
    explain = ["rules", "explain", "ambulatory-night-average-raised", "--on", "-"]
    plain, written = (CliRunner().invoke(main, [*explain, *how], input=asked).stdout for how in ([], ["--json"]))
    assert "ambulatory_night_systolic is 150 mmHg, compared with a limit that is not published" in plain
    assert '{"limit":"ambulatory-night.hypertension.systolic","value":null}' in written


def test_a_guideline_must_say_that_it_has_no_limit_and_a_severe_one_it_must_have(tmp_path):
    changes = ["{limits: {ambulatory-night: null}}", "{limits: {severe: {systolic: null}}}"]
    for number, change in enumerate(changes):
        folder = layer(tmp_path / str(number), f"{{of: guideline, id: esc-2024, set: {change}, reason: x}}")
        with pytest.raises(RuleFaults):
            Rules.load(None, (folder,))
    no_night = "{limits: {ambulatory-night: {hypertension: {systolic: null, diastolic: null}}}}"
    folder = layer(tmp_path / "none", f"{{of: guideline, id: esc-2024, set: {no_night}, reason: x}}")
    limits = Rules.load(None, (folder,)).ruleset.guidelines["esc-2024"].limits
    assert isnan(limits["ambulatory-night.hypertension.systolic"])


# source: bands of the fall at night (published, quoted from memory): below 10 %, 10 to 20 %, above 20 %, a rise
@pytest.mark.parametrize(
    ("night", "found"),
    [(101, "night-rise"), (100, "night-fall-small"), (91, "night-fall-small"), (90, None), (80, None),
     (79, "night-fall-large")],
)  # fmt: skip
def test_the_fall_at_night_has_its_bands(night, found):
    fired = rules_fired(answer(worn((100, 65), (night, 50))))
    assert fired & {"night-rise", "night-fall-small", "night-fall-large"} == ({found} if found else set())
