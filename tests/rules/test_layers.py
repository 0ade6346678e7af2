"""A clinic's own directory over the rules."""

from pathlib import Path

import pytest

from heartlevel import RuleFaults, Rules, answer_to
from heartlevel.one_call import device_answer_to
from heartlevel.resources import shipped
from heartlevel.ruling.files.layers import merged
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.tools.difference import differences
from rules.laid import layer, refused, rules_of
from support import OWN_RULE, rules, rules_fired, week


def in_steps(change: str) -> str:
    """A change of a protocol's stepwise check of a device."""
    return f"{{of: protocol, id: nice-ng136, set: {{device_check: {{procedure: {change}}}}}, reason: x}}"


def test_a_rule_can_be_switched_off(tmp_path):
    folder = layer(tmp_path, '{of: rule, id: legs-crossed, off: true, reason: "Our chairs"}')
    crossed = week(technique={"legs_crossed": True})
    assert "legs-crossed" in rules_fired(answer_to(crossed, rules()))
    assert "legs-crossed" not in rules_fired(answer_to(crossed, Rules.load(None, (folder,))))


def test_a_limit_can_be_changed_without_touching_the_examples_below(tmp_path):
    categories = "[{id: normal, title: Normal}, {id: raised, title: Hypertension, from: {systolic: 135, diastolic: 80}}]"
    change = (
        "{of: guideline, id: acc-aha-2025, reason: Local, set: "
        f"{{limits: {{home: {{hypertension: {{systolic: 135}}}}}}, categories: {{home: {categories}}}}}}}"
    )
    laid = load(None, (layer(tmp_path, change),))
    assert laid.guidelines["acc-aha-2025"].limits["home.hypertension.systolic"] == 135
    assert laid.guidelines["acc-aha-2025"].limits["home.hypertension.diastolic"] == 80
    assert Rules.load(None, (tmp_path / "clinic",)).ruleset.fingerprint == laid.fingerprint != rules().ruleset.fingerprint


def test_wording_severity_and_default_can_be_changed(tmp_path):
    folder = layer(
        tmp_path,
        "{of: rule, id: legs-crossed, set: {severity: high, advice: Feet down.}, reason: Seen often}",
        "{of: ruleset, set: {default_guideline: esc-2024}, reason: We follow it}",
        "{of: wording, id: en, set: {cautions: [Ask the practice.]}, reason: Shorter}",
    )
    answer = answer_to(week(technique={"legs_crossed": True}), Rules.load(None, (folder,)))
    (finding,) = [one for one in answer["findings"] if one["rule"] == "legs-crossed"]
    assert (finding["severity"], finding["advice"]) == ("high", "Feet down.")
    assert answer["made_with"]["guideline"] == "esc-2024"
    assert answer["cautions"] == ["Ask the practice."]
    assert answer["made_with"]["rules"]["layers"] == [rules_of(folder).layers[0].as_dict()]


def test_a_rule_can_be_added(tmp_path):
    laid = Rules.load(None, (layer(tmp_path, own=OWN_RULE),))
    assert "pulse-fast-here" in rules_fired(answer_to(week(pulse=110), laid))


def test_layers_lie_over_each_other_in_their_order(tmp_path):
    one = layer(tmp_path / "a", "{of: rule, id: legs-crossed, set: {severity: high}, reason: A}")
    two = layer(tmp_path / "b", "{of: rule, id: legs-crossed, set: {severity: low}, reason: B}", name="Ward")

    def severity(*folders: Path) -> str:
        return next(rule.severity for rule in load(None, folders).every_rule() if rule.id == "legs-crossed")

    assert [severity(one, two), severity(two, one)] == ["low", "high"]


def test_a_clinics_own_order_and_bands_of_the_stepwise_check_hold(tmp_path):
    change = in_steps("{order: [reference, device, reference], usable_within: 2}")
    assert refused(layer(tmp_path / "wrong", change))
    change = in_steps("{order: [device, reference, device], usable_within: 2}")
    loaded = Rules.load(None, (layer(tmp_path, change),))
    turns = [{"by": by, "systolic": systolic, "diastolic": 80} for by, systolic in (("device", 133), ("reference", 130))]
    asked = {"device_checks": [{"device": "d", "sequence": turns}], "options": {"protocol": "nice-ng136"}}
    verdicts = [device_answer_to(asked, one)["device_checks"][0]["procedure"]["verdict"] for one in (loaded, rules())]
    assert verdicts == ["go-on", "order-not-followed"]


def test_an_id_that_is_no_text_is_named_and_hides_no_other_mistake(tmp_path):
    folder = layer(tmp_path, own="- {id: [a]}\n")
    (folder / "guidelines").mkdir()
    (folder / "guidelines" / "own.yaml").write_text("{id: [b], in_pregnancy: [c]}\n")
    above = layer(tmp_path / "above", "{of: guideline, id: esc-2024, set: {title: x}, reason: x}",
                  "{of: rule, id: legs-crosed, off: true, reason: x}")  # fmt: skip
    with pytest.raises(RuleFaults) as caught:
        load(None, (folder, above))
    texts = [str(fault) for fault in caught.value.faults]
    for begin in ("clinic/reading/own.yaml:1:4: not-a-text: id", "clinic/guidelines/own.yaml:1:2: not-a-text: id"):
        assert any(text.startswith(begin) for text in texts), texts
    (unknown,) = [text for text in texts if "there is no rule 'legs-crosed' to change" in text]
    assert "legs-crossed" in unknown


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("{of: rule, id: legs-crosed, off: true, reason: x}", "unknown-name: there is no rule 'legs-crosed'"),
        ("{of: rule, id: legs-crossed, off: true}", "missing: changes.0.reason"),
        ("{of: rule, id: legs-crossed, reason: x}", "wrong-change: a change either switches off or sets"),
        ("{of: rule, id: legs-crossed, set: {id: y}, reason: x}", "wrong-change: id cannot be changed"),
        ("{of: rule, id: legs-crossed, set: {severity: hihg}, reason: x}", "not-one-of: severity"),
        ("{of: rule, id: legs-crossed, set: {when: {legs_crosed: {equals: true}}}, reason: x}", "unknown-fact"),
        ("{of: rule, id: legs-crossed, set: {when: {legs_crossed: {equals: false}}}, reason: x}", "wrong-example"),
        ("{of: guideline, id: esc-2024, off: true, reason: x}", "wrong-change: only a rule or a fact can be switched off"),
        ("{of: ruleset, id: x, set: {name: y}, reason: x}", "wrong-change: every change but one of the ruleset"),
        ("{of: ruleset, set: {default_guideline: none-such}, reason: x}", "unknown-name: 'none-such'"),
        ("{of: guideline, id: esc-2024, set: {limits: {low: {systolic: 150}}}, reason: x}", "limits-order: low systolic"),
        ("{of: rule, id: legs-crossed, set: 5, reason: x}", "not-an-object"),
        ("{of: guideline, id: esc-2024, set: {limits: {home: {hypertension: {systolic: 140}}}}, reason: x}", "140/85, but"),
        ("{of: guideline, id: esc-2024, set: {limits: {severe: {systolic: 390}}}, reason: x}", "urgent-rule: severe sys"),
        ("{of: guideline, id: esc-2024, set: {after_birth_days: 41}, reason: x}", "urgent-rule: after_birth_days 41"),
        ("{of: rule, id: very-high, set: {when: {systolic: {above: 399}}}, reason: x}", "urgent-rule: 'very-high'"),
        ("{of: rule, id: very-high, set: {examples: []}, reason: x}", "missing-example: no example"),
        ("{of: protocol, id: nice-ng136, set: {home: {minimum_kept: 25}}, reason: x}", "at most 24"),
        ("{of: protocol, id: nice-ng136, set: {home: {minimum_recorded: 29}}, reason: x}", "at most 28"),
        ("{of: protocol, id: nice-ng136, set: {home: {discard_first_days: 4}}, reason: x}", "limits-order: all days"),
        (in_steps("{usable_within: 11}"), "limits-order: usable within 11"),
        (in_steps("{order: [reference, device, device]}"), "limits-order: the first reading of the"),
        (in_steps("{order: [device, device, reference]}"), "limits-order: the first reading of the"),
        (in_steps("{order: [device, device, device]}"), "limits-order: the first reading of the"),
        ("{of: protocol, id: nice-ng136, set: {morning: {before_hour: 3}}, reason: x}", "ends before it begins"),
        ("{of: protocol, id: nice-ng136, set: {ambulatory: {night: {before_hour: 1}}}, reason: x}", "the night ends"),
    ],
)
def test_a_mistake_in_a_change_is_named_at_its_place(tmp_path, change, said):
    place = "clinic/layer.yaml:4:"
    faults = refused(layer(tmp_path, change))
    assert any(fault.startswith(place) and said in fault for fault in faults), faults


def test_an_urgent_rule_can_neither_be_switched_off_nor_muted(tmp_path):
    (urgent, *_) = [rule.id for rule in rules().ruleset.every_rule() if rule.urgent]
    changes = [f"{{of: rule, id: {urgent}, {how}, reason: x}}" for how in ("off: true", "set: {urgent: false}")]
    for number, change in enumerate(changes):
        assert any("urgent-rule" in fault for fault in refused(layer(tmp_path / str(number), change)))


def test_a_rule_others_build_on_cannot_be_switched_off_alone(tmp_path):
    faults = refused(layer(tmp_path, "{of: rule, id: too-few-home-readings, off: true, reason: x}"))
    assert any("still-mentioned" in fault and fault.startswith("clinic/layer.yaml:4") for fault in faults)


def test_a_rule_added_under_a_name_below_is_a_mistake(tmp_path):
    faults = refused(layer(tmp_path, own=OWN_RULE.replace("pulse-fast-here", "legs-crossed")))
    assert any("repeated-id" in fault and fault.startswith("clinic/reading/own.yaml:2") for fault in faults)


def test_what_a_layer_changes_can_be_listed_with_its_reasons(tmp_path):
    folder = layer(
        tmp_path,
        "{of: rule, id: legs-crossed, off: true, reason: Our chairs}",
        "{of: guideline, id: esc-2024, set: {limits: {severe: {systolic: 170}}}, reason: Local protocol}",
        own=OWN_RULE,
    )
    found = [(one.what, one.id, one.fields, one.reasons) for one in differences(load(), load(None, (folder,)))]
    assert found == [
        ("changed", "esc-2024", (("limits.severe.systolic", 180, 170),), ("Local protocol (Clinic)",)),
        ("removed", "legs-crossed", (), ("Our chairs (Clinic)",)),
        ("added", "pulse-fast-here", (), ()),
    ]


def test_merging_replaces_what_is_no_mapping_and_leaves_the_rest():
    below = {"a": {"b": 1, "c": [1, 2]}, "d": 3}
    assert merged(below, {"a": {"c": [9]}}) == {"a": {"b": 1, "c": [9]}, "d": 3}
    assert below == {"a": {"b": 1, "c": [1, 2]}, "d": 3}


def test_a_file_that_would_be_passed_over_is_named(tmp_path):
    folder = layer(tmp_path, own=OWN_RULE)
    (folder / "reading" / "own.yaml").rename(folder / "reading" / "own.yaml.txt")
    assert refused(folder) == [
        "clinic/reading/own.yaml.txt:1:1: wrong-name: the names of rule files end in .yaml (rename it to own.yaml)"
    ]


def test_one_mistake_in_a_guideline_is_one_fault(tmp_path):
    change = "{of: guideline, id: acc-aha-2025, set: {year: soon}, reason: x}"
    (fault,) = refused(layer(tmp_path, change))
    assert fault.startswith("clinic/layer.yaml:4:") and "year: found 'soon'" in fault


def test_wording_can_be_changed_where_limits_are_changed_too(tmp_path):
    changes = [
        "{of: guideline, id: acc-aha-2025, set: {limits: {low: {systolic: 95}}}, reason: x}",
        "{of: rule, id: low, set: {severity: high}, reason: x}",
    ]
    assert Rules.load(None, (layer(tmp_path, *changes),)).ruleset.layers


OWN_GUIDELINE = (shipped("rules") / "guidelines" / "esh-2023.yaml").read_text().replace("id: esh-2023", "id: our-own", 1)


def with_guideline(folder: Path, old: str, new: str) -> Path:
    top = layer(folder)
    (top / "guidelines").mkdir()
    assert old in OWN_GUIDELINE
    (top / "guidelines" / "own.yaml").write_text(OWN_GUIDELINE.replace(old, new, 1))
    return top


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("severe: {systolic: 180", "severe: {systolic: 181", "severe systolic 181 is above the 180 of every"),
        ("after_birth_days: 42", "after_birth_days: 41", "after_birth_days 41 is below the 42 of every"),
        ("in_pregnancy: isshp-2021", "in_pregnancy: our-own", "in pregnancy severe systolic 180 of 'our-own'"),
        ("in_pregnancy: isshp-2021", "in_pregnancy: nice-ng136", "in pregnancy severe diastolic 120 of 'nice-ng136'"),
    ],
)
def test_an_added_guideline_cannot_leave_unnamed_what_all_below_call_severe(tmp_path, old, new, said):
    faults = refused(with_guideline(tmp_path, old, new))
    line = OWN_GUIDELINE[: OWN_GUIDELINE.index(old)].count("\n") + 1
    assert all(fault.startswith(f"clinic/guidelines/own.yaml:{line}:") for fault in faults), faults
    assert any(f"urgent-rule: {said}" in fault for fault in faults), faults


def test_an_added_guideline_may_be_as_lax_as_the_laxest_below_and_stricter(tmp_path):
    for number, severe in enumerate(("{systolic: 180, diastolic: 120}", "{systolic: 170, diastolic: 105}")):
        changed = with_guideline(tmp_path / str(number), "{systolic: 180, diastolic: 110}\n  low", f"{severe}\n  low")
        assert "our-own" in load(None, (changed,)).guidelines


def test_the_guideline_of_pregnancy_cannot_be_changed_for_one_that_names_fewer_severe_values(tmp_path):
    change = "{of: guideline, id: esc-2024, set: {in_pregnancy: esc-2024}, reason: x}"
    (fault,) = refused(layer(tmp_path, change))
    assert fault.startswith("clinic/layer.yaml:4:") and "severe systolic 180 of 'esc-2024' is above the 160" in fault


def test_the_beginning_of_hypertension_cannot_move_onto_another_category_and_leave_the_categories(tmp_path):
    moved = "limits: {home: {hypertension: {systolic: 135, diastolic: 85}}}"
    (fault,) = refused(layer(tmp_path / "a", f"{{of: guideline, id: acc-aha-2025, set: {{{moved}}}, reason: x}}"))
    assert fault.startswith("clinic/layer.yaml:4:") and "the home categories stay as they were" in fault
    anew = "categories: {home: [{id: n, title: N}, {id: h, title: H, from: {systolic: 135, diastolic: 85}}]}"
    parts = [f"{{of: guideline, id: acc-aha-2025, set: {{{part}}}, reason: x}}" for part in (moved, anew)]
    laid = load(None, (layer(tmp_path / "b", *parts),))
    assert laid.guidelines["acc-aha-2025"].limits["home.hypertension.systolic"] == 135


def test_a_decimal_comma_is_named_in_the_file_it_stands_in(tmp_path):
    limits = "{home: {hypertension: {systolic: 135,5}}}"
    faults = refused(layer(tmp_path, f"{{of: guideline, id: esc-2024, set: {{limits: {limits}}}, reason: x}}"))
    assert any(fault.startswith("clinic/layer.yaml:4:") and "decimals take a point" in fault for fault in faults), faults


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("{above: 100}", "{above: 100,5}", "decimals take a point"),
        ("{above: 100}", '{above: "100"}', "no quotes"),
        ("{above: 100}", "{above: home.hypertension.systolic}", "write {limit: home.hypertension.systolic}"),
        ("{pulse: {above: 100}}", "{or: [{pulse: {above: 100}}]}", "write `any`"),
        ("{pulse: {above: 100}}", "{talking: {equals: 'yes'}}", "true or false, without quotes"),
        ("{pulse}", "{pulse", "unknown-placeholder: a brace is opened"),
    ],
)
def test_what_was_meant_is_said(tmp_path, old, new, said):
    assert old in OWN_RULE
    assert any(said in fault for fault in refused(layer(tmp_path, own=OWN_RULE.replace(old, new, 1))))


def test_a_layer_whose_own_file_is_misnamed_is_not_asked_for_a_rule_sets_file_alone(tmp_path):
    folder = layer(tmp_path)
    (folder / "layer.yaml").rename(folder / "layer.yaml.txt")
    with pytest.raises(RuleFaults) as caught:
        load(folder)
    said = "\n".join(map(str, caught.value.faults))
    assert "rename it to layer.yaml" in said and "a layer has a layer.yaml in its place" in said


def test_a_percentage_where_a_share_belongs_is_a_mistake(tmp_path):
    own = OWN_RULE.replace("scope: reading", "scope: series").replace("{pulse} a minute", "fast")
    for number, (limit, meant) in enumerate(((50, False), (0.5, True))):
        folder = layer(tmp_path / str(number))
        (folder / "series").mkdir()
        compared = own.replace("pulse: {above: 100}", f"home_doubtful_share: {{above: {limit}}}")
        given = compared.replace("pulse: 101", "home_doubtful_share: 0.6").replace("pulse: 100", "home_doubtful_share: 0.4")
        (folder / "series" / "own.yaml").write_text(given)
        if meant:
            assert "pulse-fast-here" in {rule.id for rule in load(None, (folder,)).every_rule()}
        else:
            assert any("home_doubtful_share is a share, at most 1; found 50 (50 % is" in one for one in refused(folder))


def expected_errors(payload: dict, ruleset: Rules) -> dict[str, dict]:
    return {one["code"]: one for one in answer_to(payload, ruleset)["classification"]["errors_in_it"]}


def test_a_clinic_can_say_how_often_its_people_err_and_how_much_that_comes_to(tmp_path):
    taught = layer(
        tmp_path / "taught",
        "{of: rule, id: legs-crossed, set: {usual_share: 0}, reason: Taught}",
        "{of: ruleset, set: {usual_at_home: {technique: {systolic: 4}}}, reason: Measured here}",
    )
    found = expected_errors(week(), Rules.load(None, (taught,)))["unrecorded-technique"]
    means = [found[name]["mean"] for name in ("systolic", "diastolic")]
    assert means == pytest.approx([4, 2.16], abs=0.051)


def test_without_what_is_usual_nothing_is_said_of_it(tmp_path):
    silent = layer(tmp_path, "{of: ruleset, set: {usual_at_home: null}, reason: Unknown here}")
    assert set(expected_errors(week(), rules())) == {"first-day", "unrecorded-technique", "unchecked-device"}
    assert expected_errors(week(), Rules.load(None, (silent,))) == {}
    two_days = week(3, options={"protocol": "esh-2023"})
    assert answer_to(two_days, Rules.load(None, (silent,)))["averages"][2]["systolic"]["interval95_long_run"] is None
    (change,) = differences(rules().ruleset, load(None, (silent,)))
    assert (change.kind, {name for name, _, _ in change.fields}) == ("ruleset", {"usual_at_home"})


def test_a_clinic_can_say_what_it_calls_probable(tmp_path):
    strict = layer(tmp_path, "{of: ruleset, set: {sureness: {almost_certain: 1, probable: 0.999}}, reason: Ours}")
    payload = week(pressures=((150, 95), (150, 95)))
    ours, theirs = (answer_to(payload, one)["classification"] for one in (Rules.load(None, (strict,)), rules()))
    assert (ours["sureness"], theirs["sureness"]) == ("cannot-be-told", "probable")
    assert (ours["holds"], theirs["holds"]) == (False, True)


def test_how_often_a_fault_is_there_needs_its_size(tmp_path):
    (fault,) = refused(layer(tmp_path, "{of: rule, id: feet-not-flat, set: {usual_share: 0.5}, reason: x}"))
    assert "clinic/layer.yaml:4:" in fault
    assert "stands beside its expected_error" in fault
