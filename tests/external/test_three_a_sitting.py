"""A schedule of three readings a sitting, laid over the shipped protocols as a clinic would."""

from pathlib import Path

from external.at_home import FIRST_DAY, at_home
from heartlevel import Rules, answer_to
from support import average, week

# source: a review in J Am Board Fam Med, Table 1 (published): at least 5 days, 3 readings a minute apart morning and
# evening, the first 2 days and the first of each three left out, the rest averaged; 12 of 30 (computed). Its authors and
# year are not known, so it is no shipped protocol; a layer can say it.
THREE_A_SITTING = """\
id: three-a-sitting
title: Three readings a sitting
body: An invented clinic
year: 2026
status: current
sources: [{cite: "Common practice of an invented clinic", standing: common-practice}]
sitting_gap_minutes: 30
morning: {from_hour: 4, before_hour: 12}
evening: {from_hour: 16, before_hour: 24}
home: {days: 5, minimum_days: 5, minimum_recorded: 0, minimum_kept: 12, sittings_per_day: 2, readings_per_sitting: 2,
       spacing_minutes: 1, rest_minutes: 5, discard_first_days: 2, discard_first_readings: 1, more_days_at_most: 28}
office: {minimum_readings: 2, minimum_days: 1, use: all}
device_check:
  largest_bias: 5
  minimum_pairs: 5
  standard: {largest_mean: 5, largest_sd: 8, tolerance: 10, share: 0.85, people: 85, pairs: 255}
  procedure:
    order: [device, device, reference, device, reference]
    usable_within: 5
    doubtful_within: 10
    mean_within: 10
    sd_of_readings: 8
ambulatory:
  day: {from_hour: 9, before_hour: 21}
  night: {from_hour: 1, before_hour: 6}
  minimum_day_readings: 20
  minimum_night_readings: 7
"""


def with_three_a_sitting(folder: Path) -> Rules:
    (folder / "protocols").mkdir()
    (folder / "layer.yaml").write_text('name: Invented clinic\nrevision: "1"\n')
    (folder / "protocols" / "three.yaml").write_text(THREE_A_SITTING)
    return Rules.load(None, (folder,))


def test_three_readings_a_sitting_lose_the_first_of_each_and_two_days(tmp_path):
    ours = with_three_a_sitting(tmp_path)
    assert at_home("three-a-sitting", 5, 3, ours) == (12, {FIRST_DAY: 12, "first-of-sitting-discarded": 6}, True)
    assert at_home("three-a-sitting", 7, 3, ours) == (20, {FIRST_DAY: 12, "first-of-sitting-discarded": 10}, True)
    assert at_home("three-a-sitting", 4, 3, ours)[2] is False
    assert at_home("three-a-sitting", 5, 2, ours) == (6, {FIRST_DAY: 8, "first-of-sitting-discarded": 6}, False)


# source: the same; of 130, 129 and 128 the later two
def test_the_mean_of_three_readings_a_sitting_is_that_of_the_later_two(tmp_path):
    payload = week(5, ((130, 80), (129, 78), (128, 76)), {"protocol": "three-a-sitting"})
    whole = average(answer_to(payload, with_three_a_sitting(tmp_path)))
    assert (whole["systolic"]["mean"], whole["diastolic"]["mean"]) == (128.5, 77.0)
