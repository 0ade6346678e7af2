"""What is said, to whom, in which language: whole, plain, the same in all languages, and never about medicines."""

import re
from collections import Counter

import pytest

from heartlevel import answer_to
from heartlevel.conclusions.followup.change import CAUTIONS
from heartlevel.conclusions.followup.target import AGE_UNKNOWN, TARGET_STATES, UNTOLD
from heartlevel.ruling.files.translated.originals import texts_in
from heartlevel.statistics.followup.change import STATES
from heartlevel.vocabulary import TARGET_EXCEPTIONS
from rules.worded import ALL, CLINICIAN, ENGLISH_WORDS, RULES, TRANSLATED, WORDED, texts
from support import demo, demo_answers, rules, rules_told

PLACE = re.compile(r"\{([^{}]*)\}")
NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


def shown(text: str) -> list[str]:
    """The places of a text, forms of words left out."""
    return [place for place in PLACE.findall(text) if " plural " not in place.replace(":", " ")]


def answers(language: str) -> list[dict]:
    return [answer_to({**one, "options": {**(one.get("options") or {}), "language": language}}, rules()) for one in demo()]


def sentences(answer: dict) -> list[str]:
    """Everything that an answer says in the language asked for."""
    said = [finding[key] for finding in answer["findings"] for key in ALL]
    said += [note[key] for note in answer["notes"] for key in ("title", "explanation", "patient")]
    slips = {finding["explanation"] for finding in answer["findings"]}
    problems = [one for one in answer["problems"] if one["detail"] in slips]
    steps = [step["text"] for step in answer["next_steps"]]
    return [*said, *steps, *answer["cautions"], *(one[key] for one in problems for key in ("detail", "hint"))]


def test_every_rule_has_its_words_to_the_person_measured_in_every_language():
    assert {language: sorted(set(RULES) ^ set(worded)) for language, worded in WORDED.items()} == dict.fromkeys(WORDED, [])
    assert not [
        (language, name) for language, worded in WORDED.items() for name in RULES if not worded[name].get("patient")
    ]


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_rule_has_its_words_to_the_clinician(language):
    assert not [(name, key) for name in RULES for key in CLINICIAN if not WORDED[language].get(name, {}).get(key)]


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_next_step_is_worded_and_as_many_cautions(language):
    english, other = (rules().ruleset.wording[name].written for name in ("en", language))
    assert list(other["next_steps"]) == list(english["next_steps"])
    assert list(other["next_steps_for_patient"]) == list(english["next_steps_for_patient"])
    assert len(other["cautions"]) == len(english["cautions"])


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_text_was_left_in_english(language):
    written = rules().ruleset.wording[language].written
    every = [text for path, text in texts_in(written).items() if path[0] != "categories"]
    assert len(every) > 1000
    assert not [text for text in every if ENGLISH_WORDS[language].search(PLACE.sub("", text))]
    assert all(ENGLISH_WORDS[language].search(rule.written["explanation"]) for rule in RULES.values())


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_demo_practice_is_answered_throughout(language):
    answered = answers(language)
    assert set().union(*map(rules_told, answered)) == set(RULES)
    said = [text for answer in answered for text in sentences(answer)]
    strange = re.compile(r"[{}]|\bNone\b|\bnan\b")
    assert not [text for text in said if ENGLISH_WORDS[language].search(text) or strange.search(text)]


@pytest.mark.parametrize("language", TRANSLATED)
def test_decimals_have_a_comma(language):
    answered = answers(language)
    said = [text for answer in answered for text in sentences(answer)]
    said += [text for answer in answered for text in (*answer["conclusion"]["clinician"], answer["urgency"]["text"])]
    assert [text for text in said if re.search(r"\d,\d", text)]
    assert not [text for text in said if re.search(r"\d\.\d", text)]


def textless(said):
    """Leave out every text and title, however deep."""
    if isinstance(said, list):
        return [textless(item) for item in said]
    if isinstance(said, dict):
        return {key: textless(value) for key, value in said.items() if key not in ("text", "title")}
    return said


@pytest.mark.parametrize("language", TRANSLATED)
def test_all_languages_say_all_there_is_to_say_in_following_up(language):
    english, other = (rules().ruleset.wording[name].written["follow_up"] for name in ("en", language))
    assert list(english) == list(other) and not set(english.values()) & set(other.values())
    assert {*CAUTIONS, *(f"change-{state}" for state in STATES)} <= english.keys()
    said_of_targets = (*TARGET_STATES[:-1], *UNTOLD, *TARGET_EXCEPTIONS, AGE_UNKNOWN)
    assert {f"target-{code}" for code in said_of_targets} <= english.keys()


@pytest.mark.parametrize("language", TRANSLATED)
def test_all_languages_find_the_same(language):
    def bare(answer: dict) -> dict:
        findings = [{key: value for key, value in one.items() if key not in ALL} for one in answer["findings"]]
        steps = [{**step, "text": "", "patient": ""} for step in answer["next_steps"]]
        gaps = [{**gap, "text": gap["text"] and ""} for gap in answer["what_next"]["gaps"]]
        classified = {**answer["classification"], "would_change": "", "title": "", "even_so": []}
        classified["errors_in_it"] = [{**one, "text": ""} for one in classified.get("errors_in_it", ())]
        sides = [
            {**side, "title": "", "reasons": [{**one, "text": ""} for one in side["reasons"]]} for side in answer["sides"]
        ]
        said = {"classification": classified, "what_next": {**answer["what_next"], "gaps": gaps}, "sides": sides}
        others = [{**one, "title": one["title"] and ""} for one in answer["other_guidelines"]]
        notes = [{**note, "title": "", "explanation": "", "patient": ""} for note in answer["notes"]]
        said |= {"findings": findings, "notes": notes, "next_steps": steps, "other_guidelines": others}
        said["urgency"] = {**answer["urgency"], "text": "", "patient": ""}
        said["conclusion"] = answer["conclusion"]["statements"]
        return textless({**answer, **said, "made_with": {}, "problems": [], "cautions": []})

    answered = answers(language)
    assert list(map(bare, answered)) == list(map(bare, demo_answers()))
    assert {one["made_with"]["language"] for one in answered} == {language}


PARAMETERS = {
    f"{rule.id}.{name}": value for rule in RULES.values() for name, value in (rule.written.get("parameters") or {}).items()
}
EXACT = re.compile(r"=([\d.]+)=(.*?) other=(.*)")


def parameter_shown(names: str, style: str, own: dict) -> str:
    value = max({**PARAMETERS, **own}[name] for name in names.split(","))
    form = EXACT.search(style)
    if form:
        return form[2] if float(form[1]) == value else form[3].replace("*", f"{value:g}")
    if "plural" in style:
        return dict(pair.split("=") for pair in style.split()[1:])["one" if value == 1 else "other"]
    return {"": f"{value:g}", "hundredths": f"{100 * value:g}", "percent": f"{100 * value:g} %"}[style]


def plainly_filled(text: str, facts: dict, limits: dict, own: dict) -> str:
    """Fill a text as English is to be written, without the templates or a table of locales."""

    def place(found: re.Match) -> str:
        name, _, style = found[1].partition(":")
        if name == "param":
            return parameter_shown(style.partition(":")[0], style.partition(":")[2], own)
        if name == "fixed":
            return style
        value = limits[style] if name == "limit" else facts.get(name)
        if isinstance(value, bool) or value is None:
            return {True: "yes", False: "no", None: "not recorded"}[value]
        if isinstance(value, str):
            return rules().ruleset.wording["en"].names.get(value, value)
        return f"{100 * value:.0f} %" if style == "percent" else f"{round(value, 1) + 0.0:g}"

    return PLACE.sub(place, text)


LADDER = rules().ruleset.wording["en"].urgency


def test_english_answers_say_what_the_rules_say():
    for answer in demo_answers():
        made = answer["made_with"]
        limits = rules().ruleset.limits(made["limits_from"], made["protocol"])
        for finding in answer["findings"]:
            written = RULES[finding["rule"]].written
            own = written.get("parameters") or {}
            expected = {key: plainly_filled(written[key], finding["facts"], limits, own) for key in CLINICIAN}
            several = f" Readings concerned: {finding['count']}; days: {finding['days']}."
            assert finding["explanation"].partition(several)[0] == expected["explanation"]
            assert finding["advice"] in {expected["advice"], *LADDER.values()}
            assert finding["title"] == expected["title"]
        assert made["language"] == "en"


@pytest.mark.parametrize("language", TRANSLATED)
@pytest.mark.parametrize("audience", [CLINICIAN, ("patient",)])
def test_translations_show_the_same_facts_limits_and_figures(audience, language):
    """Texts of a rule are compared as one, for a sentence may move; forms of words are each language's own."""
    originals, translated = texts("en", audience), texts(language, audience)
    for name in RULES:
        english, other = (" ".join(several[name, key] for key in audience) for several in (originals, translated))
        assert set(shown(other)) == set(shown(english)), name
        figures = [Counter(NUMBER.findall(PLACE.sub("", text))) for text in (english.replace(".", ","), other)]
        assert figures[0] == figures[1], name
