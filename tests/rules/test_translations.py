"""Translations held against their originals: what they show, which are older, copied, missing; and merged into files."""

import shutil
from pathlib import Path

import pytest
import yaml

from heartlevel import RuleFaults
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.files.translated.originals import fingerprint, texts_in
from heartlevel.ruling.files.translated.placeholders import placeholders, unlike
from heartlevel.ruling.files.translated.states import DONE, translated_texts
from heartlevel.ruling.tools.difference import differences
from heartlevel.ruling.tools.translating.merging import with_change, with_texts
from heartlevel.ruling.tools.translating.outstanding import every_text, originals_in, outstanding
from rules.test_layers import layer
from rules.worded import TRANSLATED
from support import rules

TEXT = "On {home_days} {home_days:plural one=day other=days}, {cuff_width_to_arm:percent} of {limit:severe.systolic}."


def faults(tmp_path: Path, *changes: str) -> list[str]:
    with pytest.raises(RuleFaults) as caught:
        load(None, (layer(tmp_path, *changes),))
    return [f"{fault.code}: {fault.detail} ({fault.hint})" for fault in caught.value.faults]


def worded(language: str, rule: str, texts: str) -> str:
    return f"{{of: wording, id: {language}, set: {{rules: {{{rule}: {texts}}}}}, reason: Ours}}"


@pytest.mark.parametrize(("text", "shown"), [
    (TEXT, {"home_days", "cuff_width_to_arm:percent", "limit:severe.systolic"}),
    ("{days:plural one=day other=days}", set()),  # a word in its form, without the number
    ("{count} {days:plural one=* day other=* days}", {"count", "days"}),  # with it
    ("{param:minutes} {param:minutes:plural one=minute other=minutes}", {"param:minutes"}),
    ("{param:minutes:plural =30=half an hour other=* minutes}", {"param:minutes"}),
    ("{param:least:hundredths} {param:cuff-too-wide.most:percent}", {"param:least", "param:cuff-too-wide.most"}),
    ("a brace that {does not pair", set()),
])  # fmt: skip
def test_what_a_text_shows(text, shown):
    assert placeholders(text) == shown


def test_a_misspelt_placeholder_is_named_with_the_one_that_is_meant():
    assert list(unlike("Puls {pulsse}.", "Pulse {pulse}.")) == [
        ("pulsse", "extra-placeholder", "'{pulsse}' is not in the original", "did you mean 'pulse'?"),
        ("pulse", "missing-placeholder", "'{pulse}' of the original is not shown", None),
    ]


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_translation_that_shows_less_or_more_is_a_mistake_in_its_line(tmp_path, language):
    less = worded(language, "picked-from-several", "{patient: 'x'}")
    assert faults(tmp_path / "less", less) == ["missing-placeholder: '{selected_from}' of the original is not shown (None)"]
    more = worded(language, "legs-crossed", "{title: 'x', explanation: '{pulse}'}")
    assert faults(tmp_path / "more", more) == ["extra-placeholder: '{pulse}' is not in the original (None)"]


def test_a_sentence_may_move_from_one_text_to_the_clinician_to_another(tmp_path):
    change = worded("es", "recent-caffeine", "{explanation: x, advice: 'Cafeína: {minutes_since_caffeine} min.'}")
    load(None, (layer(tmp_path, change),))


def test_a_conclusion_shows_what_its_original_shows(tmp_path):
    change = "{of: wording, id: es, set: {conclusion: {clinician: {first: Primero}}}, reason: Ours}"
    assert faults(tmp_path, change) == ["missing-placeholder: '{step}' of the original is not shown (None)"]


def test_a_translation_of_an_original_that_changed_is_named_and_is_no_mistake(tmp_path):
    change = (
        "{of: rule, id: picked-from-several, set: {title: One of several kept, explanation: One was kept.}, reason: Ours}"
    )
    laid = load(None, (layer(tmp_path, change),))
    assert [line for line in outstanding(laid) if "texts" in line] == [
        f"{language}: texts 2 older than their originals; `heartlevel rules translate {language}` lists them"
        for language in TRANSLATED
    ]
    assert [text.path for text in every_text(laid, "es") if text.state == "older"] == [
        ("rules", "picked-from-several", "title"), ("rules", "picked-from-several", "explanation"),
    ]  # fmt: skip


def test_a_copy_is_named_unless_it_is_declared_to_be_truly_the_same(tmp_path):
    title = rules().ruleset.wording["en"].rules["legs-crossed"].title
    copied = worded("es", "legs-crossed", f"{{title: {title}}}")
    assert any("texts 1 copied unchanged" in line for line in outstanding(load(None, (layer(tmp_path, copied),))))
    same = f"{{of: wording, id: es, set: {{same_words: [Normal, 'no', manual, {title}]}}, reason: The same}}"
    laid = load(None, (layer(tmp_path / "declared", copied, same),))
    assert not [line for line in outstanding(laid) if line.startswith("es: texts")]


def test_a_hand_edited_translation_keeps_the_record_of_its_original(tmp_path):
    laid = load(None, (layer(tmp_path, worded("es", "legs-crossed", "{title: Piernas}")),))
    assert not [line for line in outstanding(laid) if "texts" in line]


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_text_of_a_shipped_language_is_done(language):
    assert {text.state for text in every_text(rules().ruleset, language)} == {DONE}
    assert set(texts_in(rules().ruleset.wording[language].written)) == set(originals_in(rules().ruleset))


def test_a_text_of_which_nobody_recorded_the_original_is_unrecorded():
    known = {("next_steps", "rest"): "Rest."}
    states = [text.state for text in translated_texts({"next_steps": {"rest": "Ruhen."}}, known)]
    recorded = {"next_steps": {"rest": "Ruhen."}, "made_from": {"next_steps": {"rest": fingerprint("Rest.")}}}
    assert states + [text.state for text in translated_texts(recorded, known)] == ["unrecorded", "done"]


def test_a_fingerprint_is_the_same_however_lines_are_broken_and_never_a_number_in_yaml():
    assert fingerprint("Rest  now\nand here.") == fingerprint("Rest now and here.") != fingerprint("Rest now or here.")
    many = {fingerprint(str(number)) for number in range(500)}
    assert len(many) == 500 and all(isinstance(yaml.safe_load(one), str) for one in many)


def test_texts_are_set_in_a_file_in_order_and_its_comments_stay():
    written = (shipped("rules") / "wording" / "es.yaml").read_text()
    order = list(originals_in(rules().ruleset))
    without = written.replace("  leave-a-minute: Espere un minuto antes de volver a inflar el brazalete.\n", "")
    assert without != written
    again = {"next_steps_for_patient": {"leave-a-minute": "Espere un minuto antes de volver a inflar el brazalete."}}
    assert with_texts(without, again, order) == written


def test_a_layer_gets_a_change_of_the_wording_or_the_one_it_has_is_added_to():
    head = 'name: Clinic\nrevision: "1"\n'
    first = with_change(head, "de", {"rules": {"ours": {"title": "Unser"}}}, [])
    second = with_change(first, "de", {"rules": {"ours": {"advice": "Ruhen: kurz."}}}, [])
    (change,) = yaml.safe_load(second)["changes"]
    assert change == {"of": "wording", "id": "de", "reason": "Translations",
                      "set": {"rules": {"ours": {"title": "Unser", "advice": "Ruhen: kurz."}}}}  # fmt: skip
    assert len(yaml.safe_load(with_change(second, "es", {"names": {"wrist": "m"}}, []))["changes"]) == 2


def test_a_language_needs_the_forms_that_its_numbers_have(tmp_path):
    """Polish has one, few and many for whole numbers (CLDR, by babel)."""
    folder = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    text = "{home_days:plural one=dzień other=dni}"
    (folder / "wording" / "pl.yaml").write_text(
        "language: pl\nnext_steps: {}\ncautions: [x]\nrules:\n  no-evening-readings:\n"
        f'    explanation: "{{home_days}} {text}"\n', "utf-8"
    )  # fmt: skip
    with pytest.raises(RuleFaults) as caught:
        load(folder)
    (fault,) = [one for one in caught.value.faults if one.code == "wrong-plural"]
    assert (fault.line, fault.detail) == (6, "pl has more forms: few, as with 2, 3, 4; many, as with 0, 5, 6")


def test_records_of_originals_are_no_difference_between_rules(tmp_path):
    change = "{of: wording, id: es, set: {made_from: {rules: {legs-crossed: {title: aaaaaaaa}}}}, reason: Ours}"
    assert differences(rules().ruleset, load(None, (layer(tmp_path, change),))) == []
