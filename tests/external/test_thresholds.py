"""Every category edge, against tables typed here from the publications, not read from the rule files."""

from math import isnan

import numpy as np
import pytest

from heartlevel.statistics.classification import category_reached
from support import answer, average, rules, week

NEVER = None
# (guideline, setting): [(category, systolic from, diastolic from)]; a category is reached by either pressure.
PUBLISHED = {
    # source: Whelton et al., ACC/AHA guideline, 2017, unchanged in Jones et al., AHA/ACC, 2025 (published)
    ("acc-aha-2025", "office"): [
        ("normal", 0, 0), ("elevated", 120, NEVER), ("stage-1", 130, 80), ("stage-2", 140, 90),
    ],
    # source: Jones et al., AHA/ACC guideline, 2025, Table 7, home column beside office 120, 130/80, 140/90 (published)
    ("acc-aha-2025", "home"): [
        ("normal", 0, 0), ("elevated", 120, NEVER), ("stage-1", 130, 80), ("stage-2", 135, 85),
    ],
    # source: McEvoy et al., Eur Heart J 2024;45:3912 (published)
    ("esc-2024", "office"): [("non-elevated", 0, 0), ("elevated", 120, 70), ("hypertension", 140, 90)],
    # source: the same, home (quoted from memory)
    ("esc-2024", "home"): [("non-elevated", 0, 0), ("elevated", 120, 70), ("hypertension", 135, 85)],
    # source: Mancia et al., J Hypertens 2023;41:1874 (published; optimal and normal quoted from memory)
    ("esh-2023", "office"): [
        ("optimal", 0, 0), ("normal", 120, 80), ("high-normal", 130, 85),
        ("grade-1", 140, 90), ("grade-2", 160, 100), ("grade-3", 180, 110),
    ],
    # source: the same, home 135/85 (published)
    ("esh-2023", "home"): [("below-threshold", 0, 0), ("hypertension", 135, 85)],
    # source: NICE NG136, clinic 140/90, 160/100, severe 180 or 120 (published)
    ("nice-ng136", "office"): [
        ("below-threshold", 0, 0), ("stage-1", 140, 90), ("stage-2", 160, 100), ("severe", 180, 120),
    ],
    # source: NICE NG136, home 135/85, 150/95 (published)
    ("nice-ng136", "home"): [("below-threshold", 0, 0), ("stage-1", 135, 85), ("stage-2", 150, 95)],
    # source: ISSHP 2021, office 140/90, severe 160 or 110; home 135/85 (published)
    ("isshp-2021", "office"): [("below-threshold", 0, 0), ("hypertension", 140, 90), ("severe-hypertension", 160, 110)],
    ("isshp-2021", "home"): [("below-threshold", 0, 0), ("hypertension", 135, 85)],
    # source: Whelton et al., ACC/AHA guideline, 2017 (published)
    ("acc-aha-2017", "office"): [
        ("normal", 0, 0), ("elevated", 120, NEVER), ("stage-1", 130, 80), ("stage-2", 140, 90),
    ],
    # source: the same, home 130/80 (published); 120 and 135/85 of the corresponding values (quoted from memory)
    ("acc-aha-2017", "home"): [
        ("normal", 0, 0), ("elevated", 120, NEVER), ("stage-1", 130, 80), ("stage-2", 135, 85),
    ],
    # source: Unger et al., Hypertension 2020;75:1334 (published)
    ("ish-2020", "office"): [("normal", 0, 0), ("high-normal", 130, 85), ("grade-1", 140, 90), ("grade-2", 160, 100)],
    # source: the same, home 135/85 (published)
    ("ish-2020", "home"): [("below-threshold", 0, 0), ("hypertension", 135, 85)],
    # source: Umemura et al., Hypertens Res 2019;42:1235 (normal to elevated published; grades quoted from memory)
    ("jsh-2019", "office"): [
        ("normal", 0, 0), ("high-normal", 120, NEVER), ("elevated", 130, 80),
        ("grade-1", 140, 90), ("grade-2", 160, 100), ("grade-3", 180, 110),
    ],
    # source: the same, its own categories for home (quoted from memory)
    ("jsh-2019", "home"): [
        ("normal", 0, 0), ("high-normal", 115, NEVER), ("elevated", 125, 75),
        ("grade-1", 135, 85), ("grade-2", 145, 90), ("grade-3", 160, 100),
    ],
    # source: Hypertension Canada guidelines, 2017 to 2020, not automated: 130/85 high-normal, 140/90 high (published)
    ("hypertension-canada-2020", "office"): [
        ("below-high-normal", 0, 0), ("high-normal", 130, 85), ("hypertension", 140, 90),
    ],
    # source: the same, home 135/85 (published)
    ("hypertension-canada-2020", "home"): [("below-threshold", 0, 0), ("hypertension", 135, 85)],
}  # fmt: skip
STEPS = (-0.1, 0.0, 0.1)


def expected(table, systolic, diastolic):
    """The highest category either pressure reaches, by plain comparison."""
    best = table[0][0]
    for name, from_systolic, from_diastolic in table[1:]:
        if systolic >= from_systolic or (from_diastolic is not NEVER and diastolic >= from_diastolic):
            best = name
    return best


def edges(table):
    systolics = {one[1] + step for one in table[1:] for step in STEPS} | {90.0}
    diastolics = {one[2] + step for one in table[1:] if one[2] is not NEVER for step in STEPS} | {50.0}
    return [(systolic, diastolic) for systolic in sorted(systolics) for diastolic in sorted(diastolics)]


def reached(guideline, setting, systolic, diastolic):
    categories = rules().ruleset.guidelines[guideline].categories[setting]
    place = category_reached(np.array([float(systolic)]), np.array([float(diastolic)]), categories)
    return categories[int(place[0])].id


def test_every_guideline_that_ships_is_in_the_table():
    assert {name for name, _ in PUBLISHED} == set(rules().ruleset.guidelines)


@pytest.mark.parametrize(("guideline", "setting"), PUBLISHED, ids="/".join)
def test_every_edge_and_every_pair_of_edges_falls_where_the_guideline_says(guideline, setting):
    table = PUBLISHED[guideline, setting]
    wrong = [
        (pair, reached(guideline, setting, *pair), expected(table, *pair))
        for pair in edges(table)
        if reached(guideline, setting, *pair) != expected(table, *pair)
    ]
    assert not wrong


# source: the same publications, written out one by one so that the plain comparison above is itself checked
@pytest.mark.parametrize(
    ("guideline", "setting", "systolic", "diastolic", "category"),
    [
        ("acc-aha-2025", "office", 119.9, 79.9, "normal"),  # normal needs both
        ("acc-aha-2025", "office", 118, 71, "normal"),
        ("esc-2024", "office", 118, 71, "elevated"),
        ("acc-aha-2025", "office", 119, 80, "stage-1"),  # elevated has no diastolic door
        ("acc-aha-2025", "office", 129.9, 79.9, "elevated"),
        ("acc-aha-2025", "office", 139.9, 89.9, "stage-1"),
        ("acc-aha-2025", "office", 110, 90, "stage-2"),
        ("esc-2024", "office", 119.9, 69.9, "non-elevated"),
        ("esc-2024", "office", 139.9, 89.9, "elevated"),
        ("esh-2023", "office", 135, 70, "high-normal"),
        ("esh-2023", "office", 145, 100, "grade-2"),  # the higher category wins
        ("esh-2023", "office", 120, 110, "grade-3"),
        ("esh-2023", "home", 134.9, 84.9, "below-threshold"),
        ("esh-2023", "home", 135.0, 84.0, "hypertension"),
        ("nice-ng136", "office", 179.9, 119.9, "stage-2"),
        ("nice-ng136", "office", 180, 90, "severe"),
        ("nice-ng136", "office", 170, 120, "severe"),
        ("nice-ng136", "home", 149.9, 94.9, "stage-1"),
        ("nice-ng136", "home", 140, 95, "stage-2"),
        ("isshp-2021", "office", 150, 110, "severe-hypertension"),
        ("isshp-2021", "office", 159.9, 109.9, "hypertension"),
        ("acc-aha-2017", "home", 134.9, 84.9, "stage-1"),
        ("acc-aha-2017", "home", 134.9, 85, "stage-2"),
        ("ish-2020", "office", 120, 85, "high-normal"),
        ("jsh-2019", "office", 119, 80, "elevated"),  # high-normal has no diastolic door
        ("jsh-2019", "office", 129.9, 79.9, "high-normal"),
        ("jsh-2019", "home", 124.9, 74.9, "high-normal"),
        ("jsh-2019", "home", 134.9, 84.9, "elevated"),
        ("hypertension-canada-2020", "office", 129.9, 84.9, "below-high-normal"),
        ("hypertension-canada-2020", "office", 139.9, 89.9, "high-normal"),
    ],
)
def test_a_named_pair_of_pressures_has_its_published_category(guideline, setting, systolic, diastolic, category):
    assert reached(guideline, setting, systolic, diastolic) == category


# source: Jones et al., AHA/ACC guideline, 2025, Table 7 (published); the row 160/100 - 145/90 has no category of its own
@pytest.mark.parametrize(
    ("office", "home", "category"),
    [((120, 0), (120, 0), "elevated"), ((130, 80), (130, 80), "stage-1"), ((140, 90), (135, 85), "stage-2"),
     ((160, 100), (145, 90), "stage-2")],
)  # fmt: skip
def test_corresponding_values_have_the_same_category_at_home_and_in_the_office(office, home, category):
    assert reached("acc-aha-2025", "office", *office) == category
    assert reached("acc-aha-2025", "home", *home) == category


# source: Jones et al., AHA/ACC guideline, 2025, Table 7 (published)
def test_the_table_of_corresponding_values_is_the_published_one():
    rows = rules().ruleset.guidelines["acc-aha-2025"].written["correspondence"]
    order = ("office", "home", "ambulatory-day", "ambulatory-night", "ambulatory-24h")
    assert [[tuple(row[name]) for name in order] for row in rows] == [
        [(120, 80), (120, 80), (120, 80), (100, 65), (115, 75)],
        [(130, 80), (130, 80), (130, 80), (110, 65), (125, 75)],
        [(140, 90), (135, 85), (135, 85), (120, 70), (130, 80)],
        [(160, 100), (145, 90), (145, 90), (140, 85), (145, 90)],
    ]


# source: ESH 2023, ESC 2024 day 135/85, night 120/70, 24 h 130/80 (published; night and all of ESC quoted from memory);
# severe: ACC/AHA and NICE 180/120, ESC and ESH 180/110, ISSHP 2021 160/110 (published; ESC, ESH quoted from memory);
# ACC/AHA 2017, ISH 2020, Hypertension Canada (published; it has no night limit), JSH 2019 (office published, rest quoted
# from memory); severe of Hypertension Canada published, of JSH quoted from memory, of ISH common practice
@pytest.mark.parametrize(
    ("guideline", "limits"),
    [
        ("acc-aha-2025", {"office": (130, 80), "home": (130, 80), "ambulatory-day": (130, 80),
                          "ambulatory-night": (110, 65), "ambulatory-24h": (125, 75), "severe": (180, 120)}),
        ("esc-2024", {"office": (140, 90), "home": (135, 85), "ambulatory-day": (135, 85),
                      "ambulatory-night": (120, 70), "ambulatory-24h": (130, 80), "severe": (180, 110)}),
        ("esh-2023", {"office": (140, 90), "home": (135, 85), "ambulatory-day": (135, 85),
                      "ambulatory-night": (120, 70), "ambulatory-24h": (130, 80), "severe": (180, 110)}),
        ("nice-ng136", {"office": (140, 90), "home": (135, 85), "ambulatory-day": (135, 85), "severe": (180, 120)}),
        ("isshp-2021", {"office": (140, 90), "home": (135, 85), "ambulatory-day": (135, 85), "severe": (160, 110)}),
        ("acc-aha-2017", {"office": (130, 80), "home": (130, 80), "ambulatory-day": (130, 80),
                          "ambulatory-night": (110, 65), "ambulatory-24h": (125, 75), "severe": (180, 120)}),
        ("ish-2020", {"office": (140, 90), "home": (135, 85), "ambulatory-day": (135, 85),
                      "ambulatory-night": (120, 70), "ambulatory-24h": (130, 80), "severe": (180, 110)}),
        ("jsh-2019", {"office": (140, 90), "home": (135, 85), "ambulatory-day": (135, 85),
                      "ambulatory-night": (120, 70), "ambulatory-24h": (130, 80), "severe": (180, 110)}),
        ("hypertension-canada-2020", {"office": (140, 90), "office-unattended": (135, 85), "home": (135, 85),
                                          "ambulatory-day": (135, 85),
                                      "ambulatory-24h": (130, 80), "severe": (180, 110)}),
    ],
)  # fmt: skip
def test_limits_by_method_are_the_published_ones_and_there_are_no_others(guideline, limits):
    have = rules().ruleset.guidelines[guideline].limits
    published = {name.split(".")[0] for name, limit in have.items() if not isnan(limit)}
    assert published == {*limits, "low", "adults_from_years", "after_birth_days"}
    for name, (systolic, diastolic) in limits.items():
        prefix = name if name == "severe" else f"{name}.hypertension"
        assert (have[f"{prefix}.systolic"], have[f"{prefix}.diastolic"]) == (systolic, diastolic), name


def classification(guideline, systolic, diastolic, setting="home", **subject):
    pressures = ((systolic, diastolic),) * 2
    payload = week(pressures=pressures, options={"guideline": guideline}, setting=setting)
    payload["subject"] |= subject
    return answer(payload)["classification"]


# source: edges of the table above
@pytest.mark.parametrize(("guideline", "setting"), PUBLISHED, ids=lambda one: one)
def test_edges_hold_from_the_request_to_the_answer(guideline, setting):
    table = PUBLISHED[guideline, setting]
    for _, systolic, diastolic in table[1:]:
        for step in STEPS:
            pairs = [(systolic + step, 60.0)]
            if diastolic is not NEVER:
                pairs.append((max(112.0, diastolic + 20), diastolic + step))
            for pair in pairs:
                found = classification(guideline, *pair, setting)
                assert (found["setting"], found["category"]) == (setting, expected(table, *pair)), pair


# source: ISSHP 2021 (published): in pregnancy home 135/85, whichever guideline is asked for
@pytest.mark.parametrize(("systolic", "category"), [(134.9, "below-threshold"), (135, "hypertension")])
def test_in_pregnancy_its_own_limits_hold(systolic, category):
    found = classification("acc-aha-2025", systolic, 70, pregnant=True)
    assert (found["guideline"], found["category"]) == ("isshp-2021", category)


def test_a_mean_between_two_readings_is_classified_unrounded():
    payload = week(pressures=((134.95, 80), (134.99, 80)), options={"guideline": "esh-2023"})
    found = answer(payload)
    assert average(found)["systolic"]["mean"] == 135.0
    assert found["classification"]["category"] == "below-threshold"


# source: severe limits as above; at or above counts as severe
@pytest.mark.parametrize(
    ("guideline", "systolic", "diastolic", "urgent"),
    [("acc-aha-2025", 179, 119, False), ("acc-aha-2025", 180, 90, True), ("acc-aha-2025", 150, 120, True),
     ("esc-2024", 150, 109, False), ("esc-2024", 150, 110, True), ("nice-ng136", 150, 119, False)],
)  # fmt: skip
def test_one_severe_reading_makes_the_answer_urgent(guideline, systolic, diastolic, urgent):
    payload = week(days=1, pressures=((systolic, diastolic),), options={"guideline": guideline})
    assert answer(payload)["urgent"] is urgent
