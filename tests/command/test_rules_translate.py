"""`heartlevel rules translate`: a file for translators is written, filled in and taken back, into rules or a layer."""

import re
import shutil
from io import BytesIO
from pathlib import Path

import pytest
import yaml
from babel.messages.pofile import read_po
from click.testing import CliRunner

from heartlevel.command.main import main
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.files.translated.states import COPIED, OLDER, TranslatedText
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.ruling.tools.formatting import block_of, formatted
from heartlevel.ruling.tools.translating.exchange import NoTranslations, for_translators, is_open, taken_back
from heartlevel.ruling.tools.translating.outstanding import every_text, originals_in
from heartlevel.ruling.tools.translating.taking import fields_to_set
from rules.test_layers import layer
from support import OWN_RULE, rules

WORDS = {
    "rules/pulse-fast-here/title": "Schneller Puls",
    "rules/pulse-fast-here/explanation": "Der Puls war {pulse} in der Minute.",
    "rules/pulse-fast-here/advice": "Ruhen, und noch einmal messen.",
    "rules/pulse-fast-here/patient": 'Ihr Puls war "schnell". Ruhen Sie.',
}
CROSSED = ("rules", "legs-crossed", "title")


def run(*arguments: object):
    return CliRunner().invoke(main, ["rules", "translate", *map(str, arguments)])


def filled(written: str, words: dict[str, str]) -> str:
    """Fill in a file for translators, as in an editor."""
    for context, text in words.items():
        quoted = text.replace('"', '\\"')
        begin, found, rest = written.partition(f'msgctxt "{context}"')
        assert found, context
        rest = re.sub(r'msgstr "[^\n]*', lambda _, quoted=quoted: f'msgstr "{quoted}"', rest, count=1)
        written = begin + found + rest
    return written


def taken(tmp_path: Path, written: str, *arguments: object):
    file = tmp_path / "filled.po"
    file.write_text(written, "utf-8")
    return run(*arguments, "--take", file)


@pytest.fixture(scope="module")
def with_own(tmp_path_factory) -> RuleSet:
    """Return the shipped rules under a layer with a rule of its own."""
    return load(None, (layer(tmp_path_factory.mktemp("own"), own=OWN_RULE),))


@pytest.fixture
def clinic(tmp_path) -> Path:
    return layer(tmp_path, own=OWN_RULE)


def written_of(ruleset: RuleSet, language: str, everything: bool = False) -> str:
    texts = [text for text in every_text(ruleset, language) if everything or is_open(text)]
    return for_translators(texts, language).decode()


def read_back(ruleset: RuleSet, written: str) -> tuple[dict, list[str]]:
    not_taken = []
    told = taken_back(written.encode(), originals_in(ruleset), not_taken)
    return told, [f"{one.line}: {one.detail}" for one in not_taken]


def test_what_is_missing_stands_beside_its_original_and_any_reader_of_po_files_reads_it(with_own):
    written = written_of(with_own, "de")
    catalog = read_po(BytesIO(written.encode()))
    assert [message.context for message in catalog if message.id] == list(WORDS)
    assert 'msgid "The pulse was {pulse} a minute."\nmsgstr ""' in written
    assert "title of the rule pulse-fast-here, to the clinician; missing" in written
    assert "patient of the rule pulse-fast-here, to the person measured, in plain words; missing" in written
    assert "#, " not in written
    assert "here one, few, many, other" in written_of(with_own, "pl")


def test_a_filled_file_is_taken_into_a_layer_which_then_has_nothing_left_to_do(tmp_path, clinic):
    written = run("de", clinic)
    assert (written.exit_code, written.stderr) == (0, "4 of 1394 texts written\n")
    told = taken(tmp_path, filled(written.stdout, WORDS), "de", clinic)
    assert (told.exit_code, told.stderr) == (0, "")
    assert told.stdout == f"{clinic}/layer.yaml: texts taken 4, recorded 0; raise the revision\n"
    laid = load(None, (clinic,))
    texts = laid.wording["de"].rules["pulse-fast-here"]
    assert (texts.title, texts.patient.filled({}, {})) == ("Schneller Puls", 'Ihr Puls war "schnell". Ruhen Sie.')
    assert not list(filter(is_open, every_text(laid, "de")))
    (change,) = yaml.safe_load((clinic / "layer.yaml").read_text())["changes"]
    assert (change["of"], change["id"], change["reason"]) == ("wording", "de", "Translations")
    file = clinic / "layer.yaml"
    assert formatted(file.read_text(), block_of(file)) == file.read_text()


def test_what_cannot_be_taken_is_named_by_its_line_and_the_rest_is_taken(with_own):
    written = filled(written_of(with_own, "de"), WORDS | {"rules/pulse-fast-here/explanation": "Der Puls war {puls}."})
    line = written[: written.index('msgctxt "rules/pulse-fast-here/explanation"')].count("\n") + 1
    written += '\nmsgctxt "rules/pulse-fast-hre/title"\nmsgid "Fast pulse"\nmsgstr "x"\n'
    told, (first, second, third) = read_back(with_own, written)
    assert len(told) == 3
    assert first.endswith("rules/pulse-fast-here/explanation: '{puls}' is not in the original (did you mean 'pulse'?)")
    assert abs(int(first.split(":")[0]) - line) <= 1
    assert "'{pulse}' of the original is not shown" in second
    assert third.endswith("there is no such text (did you mean 'rules/pulse-fast-here/title'?)")


def test_a_translation_of_an_original_that_changed_meanwhile_is_not_taken(with_own):
    written = filled(written_of(with_own, "de"), WORDS).replace('msgid "Fast pulse"', 'msgid "Quick pulse"')
    told, (problem,) = read_back(with_own, written)
    assert len(told) == 3
    assert "rules/pulse-fast-here/title: the original is now 'Fast pulse': write the file anew" in problem


def test_an_older_text_is_written_as_fuzzy_and_taken_once_the_mark_is_gone():
    ruleset = rules().ruleset
    older = TranslatedText(CROSSED, originals_in(ruleset)[CROSSED], "Piernas cruzadas", OLDER)
    written = for_translators([older], "es").decode()
    assert '#, fuzzy\nmsgctxt "rules/legs-crossed/title"\nmsgid "Legs crossed"\nmsgstr "Piernas cruzadas"' in written
    assert read_back(ruleset, written) == ({}, [])
    assert read_back(ruleset, written.replace("#, fuzzy\n", "")) == ({CROSSED: "Piernas cruzadas"}, [])


def test_a_copy_that_is_taken_again_is_declared_to_be_the_same():
    copy = TranslatedText(CROSSED, "Legs crossed", "Legs crossed", COPIED)
    fields = fields_to_set({"same_words": ["Normal"]}, [copy], {CROSSED: "Legs crossed"})
    assert fields["same_words"] == ["Normal", "Legs crossed"]
    assert "same_words" not in fields_to_set({"same_words": ["Normal"]}, [copy], {CROSSED: "Beine gekreuzt"})


def test_a_new_language_gets_a_file_of_its_own_and_falls_back_to_english(tmp_path, clinic, with_own):
    written = filled(written_of(with_own, "pt"), {"rules/pulse-fast-here/title": "Pulso rápido", "names/wrist": "pulso"})
    told = taken(tmp_path, written, "pt", clinic)
    assert (told.exit_code, told.stderr) == (0, "")
    file = clinic / "wording" / "pt.yaml"
    assert formatted(file.read_text(), block_of(file)) == file.read_text()
    wording = load(None, (clinic,)).wording["pt"]
    assert wording.rules["pulse-fast-here"].title == "Pulso rápido"
    assert wording.names == {"wrist": "pulso"} and wording.cautions[0].startswith("This is not a diagnosis")


def test_a_text_that_the_rules_refuse_leaves_everything_as_it_was(tmp_path, clinic, with_own):
    before = (clinic / "layer.yaml").read_text()
    wrong = "{limit:protocol.home.days} {limit:protocol.home.days plural few=x other=y}"
    words = {"rules/too-few-home-readings/patient": wrong}
    told = taken(tmp_path, filled(written_of(with_own, "de", everything=True), words), "de", clinic)
    assert told.exit_code == 1 and "wrong-plural: 'few' is no form of de" in told.stderr
    assert (clinic / "layer.yaml").read_text() == before


def test_texts_changed_by_hand_are_confirmed_by_name(tmp_path):
    original = "{of: rule, id: legs-crossed, set: {title: Legs were crossed}, reason: Ours}"
    spanish = "{of: wording, id: es, set: {rules: {legs-crossed: {title: Con las piernas cruzadas}}}, reason: Ours}"
    clinic = layer(tmp_path, original, spanish)
    told = run("es", clinic, "--confirm", "rules/legs-crossed")
    assert told.stdout == f"{clinic}/layer.yaml: texts taken 0, recorded 1; raise the revision\n"
    assert not list(filter(is_open, every_text(load(None, (clinic,)), "es")))
    assert run("es", clinic, "--confirm", "rules/legs-crosed").stderr.endswith("did you mean 'rules/legs-crossed'?\n")


def test_the_rules_themselves_are_translated_in_their_own_files(tmp_path):
    folder = Path(shutil.copytree(shipped("rules"), tmp_path / "rules"))
    written = written_of(rules().ruleset, "es", everything=True)
    told = taken(tmp_path, filled(written, {"rules/legs-crossed/title": "Piernas"}), "es", folder)
    assert told.stdout.startswith(f"{folder}/wording/es.yaml: texts taken 13")
    before, after = ((base / "wording" / "es.yaml").read_text().splitlines() for base in (shipped("rules"), folder))
    assert [line for line in after if line not in before] == ["    title: Piernas"]


@pytest.mark.parametrize(("language", "said"), [
    ("en", "en is the language of the originals"), ("xx", "'xx' is no tag of a known language"),
])  # fmt: skip
def test_what_cannot_be_translated_is_refused(language, said):
    told = run(language)
    assert told.exit_code == 2 and said in told.stderr


def test_translations_go_into_no_directory_that_was_not_named(tmp_path):
    written = filled(written_of(rules().ruleset, "de", everything=True), {"rules/legs-crossed/title": "Beine"})
    told = taken(tmp_path, written, "de")
    assert told.exit_code == 2 and "name the directory, of rules or of a layer" in told.stderr


@pytest.mark.parametrize(("written", "said"), [
    (b"\xff\xfe", "is not UTF-8"), (b"names: {wrist: x}\n", "this is no PO file"),
])  # fmt: skip
def test_a_file_that_is_no_po_file_is_refused(written, said):
    with pytest.raises(NoTranslations, match=said):
        taken_back(written, {}, [])
