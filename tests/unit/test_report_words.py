"""What stands on pages is words: every code has its own in each language, and what was not recorded is told in short."""

import re
from base64 import b64decode
from functools import cache

import numpy as np
import pytest
from lxml import html

from filled import languages
from heartlevel import vocabulary
from heartlevel.assessment import assess_requests
from heartlevel.conclusions.conclude import conclude
from heartlevel.facts.catalogue import CATALOGUE
from heartlevel.handouts.asked_logs import log_for
from heartlevel.handouts.log_page import log_page
from heartlevel.handouts.sheets_for import patient_pages
from heartlevel.intake.request import read
from heartlevel.report.missing import NAMED, TOPICS, missing_topics
from heartlevel.report.page import report_pages
from heartlevel.resources import shipped
from heartlevel.ruling.files.translated.originals import values_told
from heartlevel.ruling.language.page_words import PAGE_WORDS
from heartlevel.statistics.agreement import VERDICTS
from heartlevel.statistics.procedure import PROCEDURE_VERDICTS
from support import answer, demo, rules, week

CODED = re.compile(r"[-_]")
# Those of the demo with most settings, sites, symptoms, devices and verdicts between them.
SHOWN = ("s-02", "s-05", "s-07", "s-08", "s-11", "s-14", "s-25")
# Codes of one word that the language has, too.
OWN_WORDS = {"de": {"finger", "normal"}, "es": {"normal", "no"}}


@cache
def texts(language: str) -> dict[str, str]:
    """Return the visible text of pages of the demo, plots' included, without what is marked as of another language."""
    payloads = [
        {**payload, "options": {**payload.get("options", {}), "language": language}}
        for payload in demo()
        if payload["subject"]["id"] in SHOWN
    ]
    conclusions = conclude(assess_requests([read(payload, rules().ruleset.choices) for payload in payloads], rules()))
    pages = {f"report {name}": page for name, page in zip(SHOWN, report_pages(conclusions, rules()), strict=True)}
    pages |= {f"sheet {name}": page for name, page in zip(SHOWN, patient_pages(conclusions, rules()), strict=True)}
    pages["log"] = log_page(log_for(payloads[0], rules(), days=2))
    return {name: text_of(page) for name, page in pages.items()}


def text_of(page: bytes) -> str:
    root = html.fromstring(page.decode())
    for element in [*root.iter("style"), *root.iter("code"), *root.xpath("//*[@lang and not(self::html)]")]:
        element.drop_tree()
    plots = [html.fromstring(b64decode(image.get("src").partition(",")[2])) for image in root.iter("img")]
    return " ".join([root.text_content(), *(text.text_content() for plot in plots for text in plot.iter("text"))])


@cache
def codes() -> frozenset[str]:
    listed = [value for value in vars(vocabulary).values() if isinstance(value, tuple)]
    ruleset = rules().ruleset
    named = [rule.id for rule in ruleset.every_rule()]
    kinds = [*listed, ruleset.guidelines, ruleset.protocols, ruleset.wording["en"].next_steps, ruleset.facts, named,
             VERDICTS, PROCEDURE_VERDICTS]  # fmt: skip
    return frozenset(code for kind in kinds for code in kind if isinstance(code, str))


def standing(text: str, among: frozenset[str] | set[str]) -> set[str]:
    return {code for code in among if re.search(rf"(?<![\w-]){re.escape(code)}(?![\w-])", text)}


@pytest.mark.parametrize("language", languages())
def test_no_code_stands_on_a_page(language):
    # `upper-arm` is a word where another follows it.
    compound = {code for code in codes() if CODED.search(code)} - {"upper-arm"}
    assert {name: found for name, text in texts(language).items() if (found := standing(text, compound))} == {}


@pytest.mark.parametrize("language", sorted(OWN_WORDS))
def test_no_english_code_of_a_single_word_stands_on_a_page_in_another_language(language):
    listed = (
        VERDICTS,
        vocabulary.RELIABILITIES,
        vocabulary.SEVERITIES,
        vocabulary.URGENCY_LEVELS,
        vocabulary.EPISODE_KINDS,
    )
    words = {value for value in values_told() if not CODED.search(value)}.union(*listed)
    told = {name: standing(text, words - OWN_WORDS[language]) for name, text in texts(language).items()}
    assert {name: found for name, found in told.items() if found} == {}


def test_every_code_that_a_report_shows_has_words():
    shown = {
        "report-": (*vocabulary.SETTINGS, *vocabulary.MEASURED_SIDES, *vocabulary.PATTERNS, *vocabulary.PRESSURES),
        "report-verdict-": VERDICTS, "report-in-steps-": PROCEDURE_VERDICTS, "report-episode-": vocabulary.EPISODE_KINDS,
    }  # fmt: skip
    assert {prefix + code for prefix, listed in shown.items() for code in listed} <= {*PAGE_WORDS}
    english = rules().ruleset.wording["en"].names
    assert {value for value in values_told() if CODED.search(value)} <= english.keys()


@pytest.mark.parametrize("language", languages())
def test_every_word_of_pages_is_in_every_language_and_asked_for(language):
    own = rules().ruleset.wording[language].written["pages"]
    assert {key for key in own if not key.startswith(("ask-", "answer-"))} == {*PAGE_WORDS}
    asked = set()
    for path in (shipped("handouts") / "templates").glob("*.j2"):
        prefix = "practice-" if path.name.startswith("practice") else ""
        asked |= {prefix + key for key in re.findall(r'words\["([a-z0-9-]+)"\]', path.read_text())}
    assert asked <= {*PAGE_WORDS}


@pytest.mark.parametrize("language", languages())
def test_what_by_the_numbers_alone_means_is_told_in_the_words_of_the_conclusion(language):
    wording = rules().ruleset.wording[language]
    assert wording.conclusion.words["as-measured"].lower() in wording.pages["report-by-numbers"].lower()
    told = {text for name, text in texts(language).items() if wording.pages["report-by-numbers"] in text}
    assert told and all(wording.conclusion.words["as-measured"] in text for text in told)


def test_all_that_can_be_missing_has_words():
    bare = {"subject": {"id": "s"}, "readings": week(1)["readings"], "options": {"time_zone": "Europe/Oslo"}}
    readings = assess_requests([read(bare, rules().ruleset.choices)], rules()).facts["reading"]
    asked = [fact.name for fact in CATALOGUE.values() if fact.asked and fact.scope in ("reading", "subject")]
    unknown = {name for name in asked if np.isnan(readings[name]).any()}
    assert unknown - NAMED.keys() == set() and {*NAMED} <= {*asked}
    listed = [fact for items in TOPICS.values() for facts in items.values() for fact in facts]
    assert len(listed) == len(set(listed))


@pytest.mark.parametrize("language", languages())
def test_what_was_not_recorded_is_short_in_its_language_and_the_commonest_first(language):
    told = answer({**demo()[4], "options": {**demo()[4]["options"], "language": language}})
    words = rules().ruleset.wording[language].pages
    topics = missing_topics(told, words, rules().ruleset.facts)
    assert {topic.title for topic in topics} <= {words[topic] for topic in TOPICS}
    texts = [text for topic in topics for share in topic.shares for text in share.items]
    assert len(texts) == len(set(texts)) < len(told["undocumented"]) / 1.7
    assert max(map(len, texts)) < 45
    shares = [[told["undocumented"][int(share.at.split("/")[2])]["share"] for share in topic.shares] for topic in topics]
    assert all(sorted(own, reverse=True) == own for own in shares)
    assert [own[0] for own in shares] == sorted((own[0] for own in shares), reverse=True)


def test_facts_told_together_have_the_largest_of_their_shares():
    entries = [{"item": "feet_flat", "share": 0.2}, {"item": "back_supported", "share": 0.7}]
    (topic,) = missing_topics({"undocumented": entries}, rules().ruleset.wording["en"].pages, CATALOGUE)
    assert [(share.at, share.items) for share in topic.shares] == [("/undocumented/1/share", ["back, feet, legs"])]
