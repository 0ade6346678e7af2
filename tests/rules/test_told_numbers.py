"""Numbers in the texts of rules, held against the thresholds: repeated, contradicted, or meant otherwise."""

import pytest

from heartlevel.ruling.tools.numbers.reading import numbers_in
from heartlevel.ruling.tools.numbers.told import told_otherwise
from rules.laid import layer, rules_of
from support import rules

OWN = """
- id: ours
  scope: reading
  when: {{all: [{{pulse: {{above: 100}}}}, {{minutes_since_exercise: {{below: 45}}}}]}}
  effect: none
  severity: low
  title: Ours
  explanation: "{}"
  advice: None.
  sources:
    - {{cite: "Body 2045, section 100", standing: common-practice}}
  examples:
    - {{given: {{pulse: 101, minutes_since_exercise: 44}}, expect: fires}}
    - {{given: {{pulse: 100}}, expect: silent}}
"""


def warnings(folder, text: str) -> list[str]:
    return [f"{told.line}: {told.code}" for told in told_otherwise(rules_of(layer(folder, own=OWN.format(text))))]


def test_no_text_of_the_shipped_rules_repeats_or_contradicts_a_threshold():
    assert list(told_otherwise(rules().ruleset)) == []


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Pulse above 100", "literal-number"),
        ("Less than 45 minutes after exercise", "literal-number"),
        ("A pulse of 100 to 140", "literal-number"),
        ("Pulse above 110", "other-number"),
        ("Less than 30 min after exercise", "other-number"),
        ("A pulse of 110 or more", "other-number"),
    ],
)
def test_a_number_that_repeats_a_threshold_or_contradicts_it_is_told_at_its_line(tmp_path, text, code):
    assert warnings(tmp_path, text) == [f"8: {code}"]


@pytest.mark.parametrize(
    "text",
    [
        "Pulse above {fixed:110}",
        "A trial of 2045 with 4.8/1.8 mmHg",
        "Within 24 hours",
        "At least 45 mmHg",  # another unit than the threshold's
        "For 100 days",
        "Fewer than 3 of 100 people",
        "A pulse of {pulse}, NG136, 08:45",
        "Up to 100 % of it",
        "Rest 5 minutes",
    ],
)
def test_a_number_that_means_another_thing_is_no_warning(tmp_path, text):
    assert warnings(tmp_path, text) == []


def test_a_text_in_another_language_is_held_against_the_condition_too(tmp_path):
    change = ("{of: wording, id: es, reason: ours, set: {rules: {recent-exercise: "
              "{patient: 'Espere {param:minutes} min, al menos 30 minutos', title: 'Hace menos de 20 min'}}}}")  # fmt: skip
    laid = rules_of(layer(tmp_path, change))
    assert sorted(f"{told.file}:{told.line}: {told.code}" for told in told_otherwise(laid)) == [
        "clinic/layer.yaml:4: literal-number", "clinic/layer.yaml:4: other-number"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("language", "text", "expected"),
    [
        ("en", "above 20/10 mmHg", [(20.0, "mm[Hg]", True), (10.0, "mm[Hg]", False)]),
        ("es", "del 37 al 50 %", [(37.0, "%", False), (50.0, "%", False)]),
        ("es", "más de 90 días o 3,5 cm", [(90.0, "d", True), (3.5, "cm", False)]),
        ("de", "mindestens 30 Minuten, nach 14 Tagen", [(30.0, "min", True), (14.0, "d", False)]),
        ("en", "one of 40 or less", [(40.0, None, True)]),
    ],
)
def test_numbers_are_read_with_their_unit_in_each_language(language, text, expected):
    """Units by Unicode's locale data (CLDR)."""
    assert [(number.value, number.unit, number.is_bound) for number in numbers_in(text, language)] == expected
