"""What is said to the person measured: in plain and formal words, short, and never about changing medicines."""

import re
from statistics import fmean

import pytest
import textstat

from heartlevel.ruling.files.translated.originals import texts_in
from rules.worded import CUFF, EMERGENCY, MEDICINE, RULES, SIGNS, URGENT, WORDED, spoken, texts
from support import rules


def test_english_to_the_person_measured_reads_easily():
    """Flesch-Kincaid grade: 0.39 words a sentence + 11.8 syllables a word - 15.59 (Kincaid et al. 1975, from memory)."""
    textstat.set_lang("en_US")
    grades = {name: textstat.flesch_kincaid_grade(spoken(name, "en")) for name in RULES}
    assert fmean(grades.values()) <= 6
    assert {name: grade for name, grade in grades.items() if grade > 9} == {}
    to_clinicians = [textstat.flesch_kincaid_grade(rule.written["explanation"]) for rule in RULES.values()]
    assert fmean(to_clinicians) > 6  # so that the measure tells the two audiences apart


def test_spanish_to_the_person_measured_reads_easily():
    """Fernández Huerta's index: 206.84 - 60 syllables a word - 1.02 words a sentence (1959, from memory); 70 and more
    is fairly easy. Syllables are told by hyphenation, which misses some, so that the figure flatters by several points:
    hence a floor for every single text too.
    """
    textstat.set_lang("es")
    ease = {name: textstat.fernandez_huerta(spoken(name, "es")) for name in RULES}
    assert fmean(ease.values()) >= 80
    assert {name: found for name, found in ease.items() if found < 70} == {}


def test_german_to_the_person_measured_reads_easily():
    """Reading ease for German: 180 - words a sentence - 58.5 syllables a word (Amstad, Wie verständlich sind unsere
    Zeitungen? 1978; as textstat has it for German). 60 and more is plain, 70 and more fairly easy.
    """
    textstat.set_lang("de")
    ease = {name: textstat.flesch_reading_ease(spoken(name, "de")) for name in RULES}
    assert fmean(ease.values()) >= 75
    assert {name: figure for name, figure in ease.items() if figure < 60} == {}
    to_clinicians = [textstat.flesch_reading_ease(text) for text in texts("de", ("explanation",)).values()]
    assert fmean(to_clinicians) < 60  # so that the measure tells the two audiences apart


def test_texts_to_the_person_measured_are_short():
    parts = {(name, language): re.split(r"(?<=[.?!]) ", WORDED[language][name]["patient"])
             for name in RULES for language in WORDED}  # fmt: skip
    assert not {key: len(several) for key, several in parts.items() if len(several) > (6 if key[0] in URGENT else 4)}


@pytest.mark.parametrize("language", MEDICINE)
def test_no_text_speaks_of_changing_a_medicine_but_the_caution(language):
    cautions = rules().ruleset.wording[language].cautions
    assert len([one for one in cautions if MEDICINE[language].search(one)]) == 1
    others = [*texts(language).values(), *rules().ruleset.wording[language].next_steps.values()]
    assert not [text for text in others if MEDICINE[language].search(text)]


@pytest.mark.parametrize("language", SIGNS)
def test_urgent_texts_say_whom_to_call_and_for_which_signs(language):
    assert not [name for name in URGENT if EMERGENCY[language] not in WORDED[language][name]["patient"]]
    for name in ("very-high", "severe-in-pregnancy", "severe-after-birth"):
        text = WORDED[language][name]["patient"]
        assert not [sign for sign in SIGNS[language] if sign not in text]


@pytest.mark.parametrize("language", CUFF)
def test_one_word_is_used_for_the_cuff(language):
    every, (word, other) = " ".join(texts(language).values()), CUFF[language]
    assert word in every and other not in every


def test_the_person_measured_is_addressed_formally_in_german():
    """`Sie` to adults who are strangers is common practice in German."""
    written = rules().ruleset.wording["de"].written
    told = [
        text for path, text in texts_in(written).items() if path[-1] == "patient" or path[0] == "next_steps_for_patient"
    ]
    assert not [text for text in told if re.search(r"\b([Dd]u|[Dd]ich|[Dd]ir|[Dd]ein\w*|[Ee]uch|[Ee]uer)\b", text)]
    assert sum("Sie" in text or "Ihr" in text for text in told) > 180
