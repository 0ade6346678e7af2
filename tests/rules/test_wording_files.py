"""Wording files: what layers word, what is left to another language, and mistakes at their lines."""

import shutil
from pathlib import Path

import pytest

from heartlevel import RuleFaults, Rules, answer_to
from heartlevel.intake.request import RefusedRequest, read
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.template import Voice
from rules.test_examples import edit
from rules.test_layers import layer
from rules.worded import ALL, RULES, WORDED
from support import OWN_RULE, rules, rules_fired, week


def test_what_a_language_does_not_word_is_said_as_the_rule_says_it(tmp_path):
    laid = Rules.load(None, (layer(tmp_path, own=OWN_RULE),))
    asked = week(pulse=110, options={"language": "es"})
    asked["readings"] = asked["readings"][:1]
    (finding,) = [one for one in answer_to(asked, laid)["findings"] if one["rule"] == "pulse-fast-here"]
    assert [finding[key] for key in ALL] == [
        "Fast pulse", "The pulse was 110 a minute.", "Rest and take it again.", "Rest and take it again.",
    ]  # fmt: skip


def test_a_layer_words_its_own_rule_and_rewords_a_shipped_one(tmp_path):
    changes = [
        '{of: wording, id: en, set: {rules: {pulse-fast-here: {patient: "Fast: {pulse}."}}}, reason: Ours}',
        "{of: wording, id: es, set: {rules: {legs-crossed: {title: Piernas}}}, reason: Shorter}",
    ]
    laid = Rules.load(None, (layer(tmp_path, *changes, own=OWN_RULE),))
    crossed = {"technique": {"legs_crossed": True}}
    found = {
        language: {
            one["rule"]: one
            for one in answer_to(week(pulse=110.0, options={"language": language}, **crossed), laid)["findings"]
        }
        for language in ("en", "es")
    }
    # Without Spanish words of its own, the rule is said to the person as in the default language.
    assert [found[one]["pulse-fast-here"]["patient"] for one in ("en", "es")] == ["Fast: 110."] * 2
    assert found["es"]["legs-crossed"]["title"] == "Piernas"
    assert found["es"]["legs-crossed"]["advice"] == WORDED["es"]["legs-crossed"]["advice"]
    assert found["en"]["legs-crossed"]["title"] == "Legs crossed"


def test_advice_in_the_language_stands_before_plain_words_in_another(tmp_path):
    change = "{of: wording, id: es, set: {rules: {pulse-fast-here: {advice: Descanse.}}}, reason: Ours}"
    plain = "{of: wording, id: en, set: {rules: {pulse-fast-here: {patient: Rest.}}}, reason: Ours}"
    laid = load(None, (layer(tmp_path, change, plain, own=OWN_RULE),))
    said = {language: one.rules["pulse-fast-here"].patient.filled({}, {}) for language, one in laid.wording.items()}
    assert said == {"en": "Rest.", "de": "Rest.", "es": "Descanse."}


def test_a_fact_that_only_one_language_shows_is_stated_in_all(tmp_path):
    change = "{of: wording, id: en, set: {rules: {legs-crossed: {patient: 'Pulse {pulse}.'}}}, reason: Ours}"
    laid = Rules.load(None, (layer(tmp_path, change),))  # Spanish is older than its original then
    for language in ("en", "es"):
        answer = answer_to(week(pulse=70, technique={"legs_crossed": True}, options={"language": language}), laid)
        (facts,) = [one["facts"] for one in answer["findings"] if one["rule"] == "legs-crossed"]
        assert facts == {"legs_crossed": True, "pulse": 70.0}


def test_texts_of_a_rule_that_is_switched_off_are_no_mistake(tmp_path):
    laid = Rules.load(None, (layer(tmp_path, "{of: rule, id: legs-crossed, off: true, reason: Ours}"),))
    assert "legs-crossed" not in rules_fired(answer_to(week(technique={"legs_crossed": True}), laid))


def test_a_next_step_that_only_the_default_language_has_is_said_in_it_everywhere(tmp_path):
    step = "{of: wording, id: en, set: {next_steps: {sit-down: Sit down.}}, reason: Ours}"
    laid = Rules.load(None, (layer(tmp_path, step, own=OWN_RULE.replace("  title:", "  next_step: sit-down\n  title:")),))
    steps = answer_to(week(pulse=110, options={"language": "es"}), laid)["next_steps"]
    assert [step["text"] for step in steps if step["code"] == "sit-down"] == ["Sit down."]
    assert list(laid.ruleset.wording["es"].next_steps)[:-1] == list(rules().ruleset.wording["en"].next_steps)


def shipped_copy(tmp_path: Path) -> Path:
    return Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))


# What is written wrongly, the key it is under, and what is said of it.
MISTAKES = {
    "an unknown rule": (
        "  legs-crossed:", "  legs-crosed:", "  legs-crosed:",
        "3: unknown-name: there is no rule 'legs-crosed' (did you mean 'legs-crossed'?)",
    ),
    "an unknown place": (
        "su lado {side}", "su lado {sid}", "    patient:",
        "5: unknown-placeholder: '{sid}' is no fact of this scope and no limit (did you mean 'side'?)",
    ),
    "an unknown field": (
        "    title: Piernas", "    titel: Piernas", "    titel:",
        "5: unknown-key: titel: no field of that name is defined here (did you mean 'title'?)",
    ),
    "an unknown form": (
        "plural one=año", "plural eins=año", "    explanation:",
        "5: wrong-plural: 'eins' is no form of es, which has many, one, other",
    ),
    "an unknown value": (
        "  left: izq", "  leeft: izq", "  leeft:",
        "3: unknown-name: 'leeft' is no value that a sentence can show (did you mean 'left'?)",
    ),
    "an unknown language": (
        "language: es", "language: xx", "language:", "1: unknown-name: 'xx' is no tag of a known language",
    ),
    "a step that is no text": (
        "  use-other-arm: No", "  use-other-arm: [1]\n  more: No", "  use-other-arm:",
        "3: not-a-text: use-other-arm: found a list; expected a text",
    ),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_in_a_wording_is_named_at_its_line(tmp_path, mistake):
    before, after, key, said = MISTAKES[mistake]
    folder = shipped_copy(tmp_path)
    at_fault = edit(folder, "wording/es.yaml", before, after)
    lines = (folder / "wording" / "es.yaml").read_text().splitlines()
    line = max(place for place, text in enumerate(lines[:at_fault], start=1) if text.startswith(key))
    with pytest.raises(RuleFaults) as caught:
        load(folder)
    assert [str(fault) for fault in caught.value.faults] == [f"wording/es.yaml:{line}:{said}"]


@pytest.mark.parametrize("part", ["next_steps", "names", "rules"])
def test_a_part_of_a_wording_that_is_no_mapping_is_refused(tmp_path, part):
    change = f"{{of: wording, id: es, set: {{{part}: [1]}}, reason: Ours}}"
    with pytest.raises(RuleFaults) as caught:
        load(None, (layer(tmp_path, change),))
    assert {one.code for one in caught.value.faults} == {"not-an-object"}


def test_an_unknown_id_in_a_layers_wording_is_named_in_the_layer(tmp_path):
    change = "{of: wording, id: es, set: {rules: {legs-crosed: {patient: x}}}, reason: Ours}"
    with pytest.raises(RuleFaults) as caught:
        load(None, (layer(tmp_path, change),))
    (fault,) = caught.value.faults
    assert (fault.file, fault.line, fault.code, fault.hint) == (
        "clinic/layer.yaml", 4, "unknown-name", "did you mean 'legs-crossed'?",
    )  # fmt: skip


def test_a_language_that_is_not_there_is_refused_with_those_that_are():
    asked = {"subject": {"id": "s-1"}, "readings": [], "options": {"language": "fr"}}
    with pytest.raises(RefusedRequest) as caught:
        read(asked, rules().ruleset.choices)
    assert [(one.pointer, one.code) for one in caught.value.problems] == [("/options/language", "not-one-of")]


def test_a_fallback_is_written_in_the_manner_of_its_own_language():
    """English words with Spanish decimals would be neither."""
    assert Voice("es").shown(1.5, "") == "1,5"
    assert (
        RULES["cuff-below-heart"]
        .explanation.filled({"arm_height_cm": -7.5, "hydrostatic_offset_mmhg": 5.8}, {})
        .count(".5 cm")
        == 1
    )
