"""What a guideline's categories are called in another language, and what is said where they are called nothing there."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from heartlevel import RuleFaults, Rules, answer_to
from heartlevel.command.main import main
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.tools.translating.outstanding import outstanding
from rules.test_layers import layer
from support import OWN_RULE, answer, rules, week

LEVELS = [(112, 70), (124, 76), (132, 82), (150, 95), (170, 105), (190, 125)]
GUIDELINES = rules().ruleset.guidelines
RETITLED = """{of: guideline, id: acc-aha-2025, reason: Ours, set: {categories: {home: [
  {id: normal, title: Normal}, {id: elevated, title: Slightly up, from: {systolic: 120}},
  {id: stage-1, title: Stage 1 hypertension, from: {systolic: 130, diastolic: 80}},
  {id: stage-2, title: Stage 2 hypertension, from: {systolic: 135, diastolic: 85}}]}}}"""


def title(pressures: tuple[int, int], language: str, under: Rules | None = None, **options) -> str:
    payload = week(pressures=(pressures, pressures), options={"language": language, **options})
    return answer_to(payload, under or rules())["classification"]["title"]


@pytest.mark.parametrize("language", ["es", "de"])
@pytest.mark.parametrize("guideline", sorted(GUIDELINES))
@pytest.mark.parametrize("pressures", LEVELS)
def test_a_category_is_called_what_the_wording_of_the_language_calls_it(guideline, pressures, language):
    words = rules().ruleset.wording[language].categories
    english = title(pressures, "en", guideline=guideline)
    assert english in {one.title for one in GUIDELINES[guideline].categories["home"]}
    assert title(pressures, language, guideline=guideline) == words[english]


def test_titles_in_spanish_are_spanish_words():
    assert title((132, 82), "es") == "Hipertensión en estadio 1"
    assert title((112, 68), "es", guideline="esc-2024") == "No elevada"
    words = rules().ruleset.wording["es"].categories
    assert {english for english, spanish in words.items() if english == spanish} == {"Normal"}


def test_titles_in_german_are_german_words():
    assert title((132, 82), "de") == "Hypertonie Stadium 1"
    assert title((112, 68), "de", guideline="esc-2024") == "Nicht erhöht"
    words = rules().ruleset.wording["de"].categories
    assert {english for english, german in words.items() if english == german} == {"Normal", "Optimal"}


def test_other_guidelines_are_in_the_language_too():
    payload = week(options={"language": "es", "also_under": ["esc-2024"]})
    assert answer(payload)["other_guidelines"][0]["title"] == "Elevada"


def test_the_id_of_a_category_is_the_same_in_every_language():
    ids = {answer(week(options={"language": one}))["classification"]["category"] for one in ("en", "es", "de")}
    assert len(ids) == 1


def test_nothing_shipped_is_left_to_english():
    assert not [line for line in outstanding(rules().ruleset) if "texts" in line]


def test_a_title_that_a_layer_changes_is_not_called_by_the_old_ones_translation(tmp_path):
    laid = Rules.load(None, (layer(tmp_path, RETITLED),))
    assert title((124, 76), "es", laid) == "Slightly up"
    assert title((124, 76), "es", laid, guideline="esc-2024") == "Elevada"
    words = "{of: wording, id: es, reason: Ours, set: {categories: {Slightly up: Algo alta}}}"
    worded = Rules.load(None, (layer(tmp_path / "worded", f"{RETITLED}\n  - {words}"),))
    assert title((124, 76), "es", worded) == "Algo alta"


def check(folder: Path):
    return CliRunner().invoke(main, ["rules", "check", str(folder)])


def test_what_a_language_leaves_to_english_is_counted_by_the_check_and_is_no_mistake(tmp_path):
    folder = layer(tmp_path, RETITLED, own=OWN_RULE)
    told = check(folder)
    assert told.exit_code == 0
    counts = [line for line in told.stderr.splitlines() if "texts" in line]
    assert counts == [
        f"note: {language}: texts 5 missing; `heartlevel rules translate {language} {folder}` lists them"
        for language in ("de", "es")
    ]


def test_a_next_step_without_words_is_counted_too(tmp_path):
    step = "{of: wording, id: en, set: {next_steps: {sit-down: Sit down.}}, reason: Ours}"
    assert "note: es: texts 1 missing" in check(layer(tmp_path, step)).stderr


def test_words_for_a_category_that_is_not_there_are_a_mistake_with_the_near_one(tmp_path):
    change = "{of: wording, id: es, set: {categories: {Elevatd: Elevada}}, reason: Ours}"
    with pytest.raises(RuleFaults) as caught:
        load(None, (layer(tmp_path, change),))
    (fault,) = caught.value.faults
    assert (fault.code, fault.detail, fault.hint) == (
        "unknown-name", "there is no category 'Elevatd'", "did you mean 'Elevated'?",
    )  # fmt: skip


@pytest.mark.parametrize(("words", "code"), [("[1]", "not-an-object"), ("{Elevated: 1}", "not-a-text"),
                                             ('{Elevated: ""}', "text-length")])  # fmt: skip
def test_words_that_are_no_texts_are_refused(tmp_path, words, code):
    with pytest.raises(RuleFaults) as caught:
        load(None, (layer(tmp_path, f"{{of: wording, id: es, set: {{categories: {words}}}, reason: Ours}}"),))
    assert {one.code for one in caught.value.faults} == {code}


def test_a_fault_of_the_request_is_told_in_english_and_a_slip_in_the_language_of_the_answer():
    payload = week(options={"language": "es"})
    payload["readings"][0]["pulse"] = "71 bpm"
    payload["readings"][1] |= {"systolic": 80, "diastolic": 120}
    told = {one["code"]: one["detail"] for one in answer(payload)["problems"]}
    assert told["not-a-number"] == "found '71 bpm'; expected a number from 10 to 400 /min"
    assert "sistólica" in told["pressures-swapped"] or "diastólica" in told["pressures-swapped"]
