"""Sentences with places: what fills them, in the manner of which language, and what is refused."""

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from heartlevel.ruling.files.building import facts_of
from heartlevel.ruling.language.template import ENGLISH, Template, TemplateFault, Voice

SERIES, LIMITS = facts_of("series"), frozenset({"severe.systolic"})
SPANISH = Voice("es", {"yes": "sí", "not recorded": "no consta", "left": "izquierdo"})
POLISH = Voice("pl")
DAYS = "{home_days} {home_days:plural one=day other=days}"
# No fact or limit comes near a hundred thousand, from where on the general format would turn to exponents.
VALUES = st.floats(-99_999, 99_999)


def filled(text: str, voice: Voice = ENGLISH, scope: str = "series", limits=None, **facts: object) -> str:
    return Template(text, facts_of(scope), LIMITS, voice).filled(facts, limits or {})


def refusal(text: str, voice: Voice = ENGLISH) -> str:
    with pytest.raises(TemplateFault) as caught:
        Template(text, SERIES, LIMITS, voice)
    return f"{type(caught.value).__name__}: {caught.value}"


@given(VALUES)
def test_english_numbers_are_written_with_one_decimal_at_most_and_no_grouping(value):
    assert filled("{home_systolic}", home_systolic=value) == f"{round(value, 1) + 0.0:g}"


@given(st.floats(0, 100))
def test_english_shares_are_whole_percents_after_a_space(value):
    assert filled("{selected_share:percent}", selected_share=value) == f"{100 * value:.0f} %"


@given(VALUES)
def test_spanish_numbers_differ_by_the_comma_only(value):
    english, spanish = (filled("{home_systolic}", voice, home_systolic=value) for voice in (ENGLISH, SPANISH))
    assert spanish == english.replace(".", ",")


@given(VALUES, st.sampled_from([ENGLISH, SPANISH]))
@example(1.04, ENGLISH)
@example(-0.96, SPANISH)
@example(1.05, SPANISH)
def test_the_singular_stands_only_with_what_is_shown_as_one(value, voice):
    number, word = filled(DAYS, voice, home_days=value).split(" ")
    assert (word == "day") == (number in ("1", "-1"))


@pytest.mark.parametrize(("days", "word"), [(1, "dzień"), (2, "dni"), (5, "dni wielu"), (22, "dni"), (1.5, "dnia")])
def test_a_language_has_its_own_forms(days, word):
    """Forms of Polish, which has four, by Unicode's plural rules as babel holds them."""
    text = "{home_days:plural one=dzień few=dni many=dni wielu other=dnia}"
    assert filled(text, POLISH, home_days=days) == word


def test_a_form_that_is_not_given_is_the_other_one():
    assert filled("{home_days:plural other=dni}", POLISH, home_days=1) == "dni"


def test_a_limit_has_forms_too():
    text = "{limit:severe.systolic} {limit:severe.systolic plural one=unit of it other=units of it}"
    assert [filled(text, limits={"severe.systolic": one}) for one in (1.0, 180.0)] == ["1 unit of it", "180 units of it"]


@pytest.mark.parametrize(("voice", "words"), [(ENGLISH, "not recorded days"), (SPANISH, "no consta days")])
def test_what_is_not_recorded_is_said_and_takes_the_other_form(voice, words):
    assert filled(DAYS, voice) == words


@pytest.mark.parametrize(("voice", "words"), [(ENGLISH, "left, yes, no"), (SPANISH, "izquierdo, sí, no")])
def test_values_are_said_in_the_language_where_it_has_a_word(voice, words):
    facts = {"side": "left", "talking": True, "full_bladder": False}
    assert filled("{side}, {talking}, {full_bladder}", voice, "reading", **facts) == words


@given(st.text(st.characters(exclude_characters="{}", exclude_categories=["Cs"])))
def test_a_sentence_without_places_stays_as_it_is(text):
    assert filled(text) == text


@given(st.lists(st.sampled_from(["{home_days}", "{limit:severe.systolic}", "{{", "}}", "a", " "])))
def test_places_are_filled_where_they_stand(parts):
    expected = {"{home_days}": "7", "{limit:severe.systolic}": "180", "{{": "{", "}}": "}"}
    text = filled("".join(parts), home_days=7, limits={"severe.systolic": 180.0})
    assert text == "".join(expected.get(part, part) for part in parts)


def test_only_facts_are_named_as_facts_shown():
    template = Template(f"{DAYS} {{limit:severe.systolic}}", SERIES, LIMITS)
    assert list(template.facts()) == ["home_days", "home_days"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{home_day}", "TemplateFault: home_day"),
        ("{home_days:per cent}", "TemplateFault: home_days:per cent"),
        ("{limit:severe.sistolic}", "TemplateFault: limit:severe.sistolic"),
        ("{limit:severe.sistolic plural other=x}", "TemplateFault: limit:severe.sistolic"),
        ("{systolic}", "TemplateFault: systolic"),
        ("{home_days", "Unpaired: a brace is opened and not closed"),
        ("{home_days:plural}", "WrongForms: '' does not name forms"),
        ("{home_days:plural day days}", "WrongForms: 'day days' does not name forms"),
        ("{home_days:plural one= other=days}", "WrongForms: 'one= other=days' does not name forms"),
        ("{home_days:plural one=day}", "WrongForms: the form 'other' is missing"),
        ("{home_days:plural few=days other=days}", "WrongForms: 'few' is no form of en, which has one, other"),
        ("{home_enough_for_protocol:plural one=x other=y}", "WrongForms: home_enough_for_protocol is no number"),
    ],
)
def test_a_place_that_cannot_be_filled_is_refused_by_name(text, said):
    assert refusal(text).startswith(said)


def test_forms_are_those_of_the_language():
    assert refusal("{home_days:plural many=x other=y}").startswith("WrongForms: 'many' is no form of en")
    assert re.match("x", filled("{home_days:plural one=z few=z many=x other=y}", POLISH, home_days=5))
    wanted = "WrongForms: pl has more forms: few, as with 2, 3, 4; many, as with 0, 5, 6"
    assert refusal("{home_days:plural one=x other=y}", POLISH) == wanted
    assert filled("{home_days:plural other=y}", POLISH, home_days=2) == "y"  # a word that never changes


PARAMETERS = {"minutes": 30.0, "least": 0.375, "other-rule.minutes": 45.0}


def with_parameters(text: str, voice: Voice = ENGLISH) -> str:
    return Template(text, SERIES, LIMITS, voice, PARAMETERS).filled({"home_days": 2}, {})


@pytest.mark.parametrize(
    ("text", "english", "spanish"),
    [
        ("{param:minutes}", "30", "30"),
        ("{param:least}", "0.375", "0,375"),
        ("{param:least:percent}", "37.5 %", "37,5 %"),
        ("{param:least:hundredths} %", "37.5 %", "37,5 %"),
        ("{param:minutes:plural one=minute other=minutes}", "minutes", "minutes"),
        ("{param:minutes:plural =30=half an hour other=* minutes}", "half an hour", "half an hour"),
        ("{param:other-rule.minutes:plural =30=half an hour other=* minutes}", "45 minutes", "45 minutes"),
        ("{param:least:percent plural =0.75=three quarters other=*}", "37.5 %", "37,5 %"),
        ("{param:minutes,other-rule.minutes}", "45", "45"),
        ("{fixed:4.8}", "4.8", "4,8"),
        ("{home_days:plural =2=two days other=* days}", "two days", "two days"),
    ],
)
def test_parameters_and_fixed_numbers_are_shown_as_the_language_writes_them(text, english, spanish):
    assert (with_parameters(text), with_parameters(text, SPANISH)) == (english, spanish)


@pytest.mark.parametrize(
    "text", ["{param:hours}", "{param:minutes:per cent}", "{param:minutes,hours}", "{fixed:some}", "{param}"]
)
def test_a_parameter_that_there_is_not_is_refused_by_name(text):
    with pytest.raises(TemplateFault, match=re.escape(text.strip("{}"))):
        with_parameters(text)
