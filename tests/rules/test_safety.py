"""Layers that would make the answer less safe are refused at their place; honest ones pass."""

import pytest

from heartlevel import RuleFaults, Rules
from heartlevel.resources import shipped
from heartlevel.ruling.files.urgency.declared import UrgencyBlock
from heartlevel.ruling.files.urgency.guard import LEVELS, NEVER_HIGHER, NEVER_LOWER
from heartlevel.safeguards.people import answered, patients
from rules.laid import layer, refused
from support import rules

ACC, NICE = "of: guideline, id: acc-aha-2025", "of: protocol, id: nice-ng136"
BELOW = "{id: normal, title: Normal}"


def limits(**levels: str) -> str:
    return f"{{{ACC}, set: {{limits: {{{', '.join(f'{name}: {level}' for name, level in levels.items())}}}}}, reason: x}}"


def home_category(title: str, begin: str = "{systolic: 130, diastolic: 80}") -> str:
    return f"{{{ACC}, set: {{categories: {{home: [{BELOW}, {{id: raised, title: {title}, from: {begin}}}]}}}}, reason: x}}"


def moved(guideline: str, setting: str, begin: str) -> str:
    """Another beginning of hypertension, with the categories that it needs."""
    categories = f"[{BELOW}, {{id: hypertension, title: Hypertension, from: {begin}}}]"
    setting_of = f"{{limits: {{{setting}: {{hypertension: {begin}}}}}, categories: {{{setting}: {categories}}}}}"
    return f"{{of: guideline, id: {guideline}, set: {setting_of}, reason: x}}"


def rule(name: str, setting: str) -> str:
    return f"{{of: rule, id: {name}, set: {{{setting}}}, reason: x}}"


def wording(language: str, setting: str) -> str:
    return f"{{of: wording, id: {language}, set: {{{setting}}}, reason: x}}"


def protocol(setting: str) -> str:
    return f"{{{NICE}, set: {{{setting}}}, reason: x}}"


def urgency(setting: str) -> str:
    return f"{{of: urgency, set: {{{setting}}}, reason: x}}"


def narrowed(name: str, when: str, fires: str, silent: str) -> str:
    examples = f"[{{given: {fires}, expect: fires}}, {{given: {silent}, expect: silent}}]"
    return rule(name, f"when: {when}, examples: {examples}")


NIGHT = "{hypertension: {systolic: 135, diastolic: 65}}"
SABOTAGE = {
    # What may need help now goes unnamed
    "nobody is an adult": (f"{{{ACC}, set: {{adults_from_years: 130}}, reason: x}}", "less-urgent: 'very-low' names"),
    "only the old are adults": (f"{{{ACC}, set: {{adults_from_years: 65}}, reason: x}}", "less-urgent: 'very-low' names"),
    "nothing is low": (limits(low="{systolic: 31, diastolic: 30}"), "less-urgent: 'low-with-fainting' names"),
    "little is low": (limits(low="{systolic: 85, diastolic: 60}"), "less-urgent: 'low-with-fainting' names"),
    "no low diastolic": (limits(low="{diastolic: 45}"), "less-urgent: 'low-with-fainting' names"),
    "a narrower slip rule": (
        narrowed("pressures-swapped", "{all: [{systolic: {at_least: 100}}, {pulse_pressure: {below: 0}}]}",
                 "{systolic: 118, pulse_pressure: -9}", "{systolic: 118, pulse_pressure: 9}"),
        "less-urgent: 'slip-may-hide-severe' names",
    ),
    "a slip rule for equals of normal height": (
        narrowed("pressures-equal", "{all: [{systolic: {below: 170}}, {pulse_pressure: {equals: 0}}]}",
                 "{systolic: 118, pulse_pressure: 0}", "{systolic: 118, pulse_pressure: 9}"),
        "less-urgent: 'slip-may-hide-severe' names",
    ),
    "kilopascals that explain what is very low": (
        narrowed("entered-in-kilopascals", "{systolic: {between: [5, 79]}}", "{systolic: 20}", "{systolic: 90}"),
        "less-urgent: 'very-low' names",
    ),
    "no kilopascals": (
        narrowed("entered-in-kilopascals", "{systolic_if_kpa: {between: [60, 150]}}",
                 "{systolic_if_kpa: 140}", "{systolic_if_kpa: 260}"),
        "less-urgent: 'unit-slip-may-hide-severe' names",
    ),
    "symptoms of nobody": (
        narrowed("symptoms-in-pregnancy", "{most_symptoms_at_once: {above: 5}}", "{most_symptoms_at_once: 6}",
                 "{most_symptoms_at_once: 5}"),
        "urgent-rule: 'symptoms-in-pregnancy'",
    ),
    "no first step": (rule("very-high", "next_step: null"), "urgent-rule: 'very-high'"),
    "another first step": (rule("very-high", "next_step: measure-standing"), "urgent-rule: 'very-high'"),
    "not urgent": (rule("very-high", "urgent: false"), "urgent-rule: 'very-high'"),
    "urgent in days": (rule("very-high", "urgency: {level: history}"), "urgent-rule: 'very-high'"),
    "told elsewhere": (rule("very-high", "told_in: classification"), "urgent-rule: 'very-high'"),
    "off": ("{of: rule, id: low-with-fainting, off: true, reason: x}", "urgent-rule: 'low-with-fainting'"),
    "off what an urgent rule builds on": ("{of: rule, id: pressures-swapped, off: true, reason: x}", "still-mentioned"),
    "a higher severe limit": (limits(severe="{systolic: 181}"), "urgent-rule: severe systolic 181"),
    "a shorter time after birth": (f"{{{ACC}, set: {{after_birth_days: 7}}, reason: x}}", "urgent-rule: after_birth_days"),
    "limits of everybody in pregnancy": (
        f"{{{ACC}, set: {{in_pregnancy: acc-aha-2025}}, reason: x}}", "urgent-rule: in pregnancy severe systolic 180",
    ),
    "higher limits in pregnancy": (
        moved("isshp-2021", "office", "{systolic: 155, diastolic: 90}"),
        "less-urgent: 'raised-in-pregnancy' names",
    ),
    "no symptoms at a severe pressure": (urgency("symptoms: {high: {now: []}}"), "urgent-rule: 'back-pain'"),
    "a symptom less": (urgency("symptoms: {low: {same-day: [fall]}}"), "urgent-rule: 'fainting'"),
    "history at once": (urgency("history: {after_days: 1}"), "urgent-rule: 1 is below the 30"),
    "a later level": (urgency("without_symptoms: none"), "urgent-rule: 'none' is less urgent"),
    "a repeat credited as history": (urgency("lower_repeat: {level: history}"), "urgent-rule: 'history'"),
    "ambulatory readings of no account": (urgency("lone_ambulatory: {readings: 10}"), "urgent-rule: 10 is above"),
    "what is high is not believed": (urgency("believed_up_to: {systolic: 200}"), "urgent-rule: 200 is below"),
    # What is said is less than what is so
    "no cautions": (wording("en", "cautions: []"), "too-few: cautions"),
    "blank cautions": (wording("en", "cautions: ['  ']"), "text-length: the text is blank"),
    "hypertension called normal": (home_category("Normal"), "says-less: 'Normal' says less"),
    "hypertension called nearly normal": (home_category("A nearly normal pressure"), "says-less: 'A nearly normal"),
    "hypertension called high-normal": (home_category("High-normal"), "says-less: 'High-normal'"),
    "hypertension called elevated": (home_category("Elevated"), "says-less: 'Elevated'"),
    "another word for it": (home_category("Fine"), "unusual: from 130/80 on it is hypertension"),
    "normal in Spanish": (wording("es", "categories: {Stage 1 hypertension: Normal}"), "says-less: 'Normal'"),
    "normal in English": (wording("en", "categories: {Stage 1 hypertension: Normal}"), "says-less: 'Normal'"),
    "a pattern by the name of another": (
        rule("home-only-elevation", "title: Raised neither in the office nor outside it"), "says-less: 'Raised neither",
    ),
    "a pattern called normal": (rule("sustained-elevation", "title: Normal"), "says-less: 'Normal' is no title"),
    "another pattern": (rule("home-only-elevation", "pattern: normal-in-both"), "wrong-change: pattern cannot"),
    "normal in both, though raised": (
        narrowed("normal-in-both", "{office_side_raised: {equals: false}}", "{office_side_raised: false}",
                 "{office_side_raised: true}"),
        "says-less: names normal-in-both where 'home-only-elevation'",
    ),
    # Figures that nobody can mean
    "one reading at home": (protocol("home: {minimum_recorded: 1, minimum_kept: 0}"), "too-few-readings: home.min"),
    "one day at home": (protocol("home: {minimum_days: 1, discard_first_days: 0}"), "too-few-readings: home.minimum_days"),
    "one reading in the office": (protocol("office: {minimum_readings: 1}"), "too-few-readings: office.minimum_readings"),
    "one reading at night": (protocol("ambulatory: {minimum_night_readings: 1}"), "too-few-readings: ambulatory"),
    "night above day": (limits(**{"ambulatory-night": NIGHT}), "limits-order: ambulatory-night systolic 135"),
    "evening in the morning": (protocol("evening: {from_hour: 10}"), "limits-order: morning and evening overlap"),
    "home far above the office": (
        moved("acc-aha-2025", "home", "{systolic: 150, diastolic: 95}"),
        "limits-order: home systolic 150 is 20 from the 130",
    ),
    # Unusual, and nobody says why
    "probable is little": (
        "{of: ruleset, set: {sureness: {almost_certain: 0.6, probable: 0.55}}, reason: x}", "unusual: almost certain would",
    ),
    "a pattern is probable by little": (
        "{of: ruleset, set: {sureness: {probable_patterns: {sustained: 0.55}}}, reason: x}", "unusual: sustained would be",
    ),
    "children are adults": (f"{{{ACC}, set: {{adults_from_years: 12}}, reason: x}}", "unusual: people from 12 years"),
    "a reassuring urgent rule": (rule("very-high", "advice: Do nothing."), "unusual: the texts of the urgent rule"),
    "a reassuring step": (wording("en", "next_steps: {repeat-at-once: Do nothing.}"), "unusual: the next step 'repeat-at"),
    "a reassuring level": (wording("en", "urgency: {now: Do nothing.}"), "unusual: how urgent it is"),
    "a reassuring conclusion": (
        wording("en", "conclusion: {clinician: {urgency-now: All is well.}}"), "unusual: the sentences of the conclusion",
    ),
    "a reassuring step for the person": (
        wording("en", "next_steps_for_patient: {repeat-at-once: All is well.}"), "unusual: the next step 'repeat-at-once'",
    ),
    "slips are averaged": (rule("diastolic-digit-missing", "effect: none"), "unusual: readings that 'diastolic-digit"),
    "a grave rule is silent": ("{of: rule, id: dated-after-assessment, off: true, reason: x}", "unusual: 'dated-after"),
}  # fmt: skip


@pytest.mark.parametrize("name", SABOTAGE)
def test_a_layer_that_is_less_safe_is_refused_at_its_place(tmp_path, name):
    change, said = SABOTAGE[name]
    faults = refused(layer(tmp_path, change))
    assert any(fault.startswith("clinic/layer.yaml:4:") and said in fault for fault in faults), faults


LEAVING_OUT = """
- id: too-high-to-be-true
  scope: reading
  when: WHEN
  effect: unusable
  severity: low
  title: Left out
  explanation: Left out.
  advice: Measure again.
  sources: [{cite: "Common practice", standing: common-practice}]
  examples:
    - {given: FIRES, expect: fires}
    - {given: SILENT, expect: silent}
"""


def leaving_out(when: str, fires: str, silent: str) -> str:
    return LEAVING_OUT.replace("WHEN", when).replace("FIRES", fires).replace("SILENT", silent)


@pytest.mark.parametrize(
    ("when", "fires", "silent"),
    [
        ("{systolic: {above: 160}}", "{systolic: 161}", "{systolic: 160}"),
        ("{systolic: {between: [151, 152]}}", "{systolic: 151}", "{systolic: 160}"),
        ("{pulse: {above: 100}}", "{pulse: 101}", "{pulse: 100}"),
        ("{all: [{setting: {equals: home}}, {pulse: {above: 90}}]}", "{setting: home, pulse: 99}", "{pulse: 80}"),
        ("{any: [{talking: {equals: true}}, {pulse: {above: 99}}]}", "{pulse: 101}", "{pulse: 9, talking: false}"),
    ],
)  # fmt: skip
def test_a_reading_cannot_be_left_out_for_its_value(tmp_path, when, fires, silent):
    (fault,) = refused(layer(tmp_path, own=leaving_out(when, fires, silent)))
    assert fault.startswith("clinic/reading/own.yaml:4:") and "value-unusable: leaves out" in fault


def test_a_reading_cannot_be_doubted_for_its_pressure(tmp_path):
    own = leaving_out("{systolic: {above: 135}}", "{systolic: 136}", "{systolic: 135}").replace("unusable", "doubtful")
    (fault,) = refused(layer(tmp_path, own=own))
    assert "value-unusable: leaves out" in fault
    fast = leaving_out("{pulse: {above: 100}}", "{pulse: 101}", "{pulse: 100}").replace("unusable", "doubtful")
    assert Rules.load(None, (layer(tmp_path / "pulse", own=fast),))


def test_a_side_cannot_be_kept_from_speaking_for_its_average(tmp_path):
    own = leaving_out("{home_systolic: {above: 134}}", "{home_systolic: 135}", "{home_systolic: 134}")
    own = own.replace("effect: unusable", "effect: none").replace("scope: reading", "scope: series")
    own = own.replace("  severity", "  consequence: [{does: excludes, sides: [home], reads: high}]\n  severity")
    top = layer(tmp_path)
    (top / "series").mkdir()
    (top / "series" / "own.yaml").write_text(own)
    (fault,) = refused(top)
    assert fault.startswith("clinic/series/own.yaml:6:") and "value-unusable: keeps a side from speaking" in fault
    counted = own.replace(
        "{home_systolic: {above: 134}}", "{all: [{home_systolic: {above: 134}}, {home_days: {above: 0}}]}"
    )
    counted = counted.replace("home_systolic: 135", "home_systolic: 135, home_days: 3")
    (top / "series" / "own.yaml").write_text(counted)
    assert any("value-unusable" in fault for fault in refused(top))
    faulty = own.replace("when: {home_systolic: {above: 134}}", "when: {home_doubtful_share: {above: 0.4}}")
    for systolic, share in ((135, 0.5), (134, 0.3)):
        faulty = faulty.replace(f"home_systolic: {systolic}", f"home_doubtful_share: {share}")
    (top / "series" / "own.yaml").write_text(faulty)
    assert Rules.load(None, (top,))


def test_a_reading_can_be_left_out_for_a_fault_of_measuring(tmp_path):
    both = "{all: [{talking: {equals: true}}, {legs_crossed: {equals: true}}]}"
    own = leaving_out(both, "{talking: true, legs_crossed: true}", "{talking: false}")
    assert Rules.load(None, (layer(tmp_path, own=own),))


HONEST = [
    limits(severe="{systolic: 170, diastolic: 110}"),
    limits(low="{systolic: 95, diastolic: 62}"),
    f"{{{ACC}, set: {{after_birth_days: 84}}, reason: x}}",
    home_category("Stage 1 hypertension"),
    rule("legs-crossed", "severity: high"),
    "{of: rule, id: legs-crossed, off: true, reason: x}",
    wording("en", "cautions: [Ask the practice.]"),
    wording("es", "rules: {legs-crossed: {title: Piernas cruzadas}}"),
    protocol("home: {days: 5, minimum_days: 3}"),
    protocol("evening: {from_hour: 17}"),
    urgency("history: {after_days: 60}"),
    urgency("lower_repeat: {after_minutes: 5, level: same-day}"),
    "{of: ruleset, set: {default_guideline: esc-2024}, reason: x}",
    "{of: ruleset, set: {sureness: {almost_certain: 0.99}}, reason: x}",
]


@pytest.mark.parametrize("change", HONEST)
def test_an_honest_layer_passes(tmp_path, change):
    assert Rules.load(None, (layer(tmp_path, change),)).ruleset.layers


def test_what_is_unusual_passes_with_a_reason(tmp_path):
    change, said = SABOTAGE["a grave rule is silent"]
    reasons = "unusual:\n  - {of: rule, id: dated-after-assessment, reason: Our devices have no clock}\n"
    assert Rules.load(None, (layer(tmp_path, change, more=reasons),)).ruleset.layers
    (fault,) = refused(layer(tmp_path / "other", HONEST[0], more=reasons))
    assert fault.startswith("clinic/layer.yaml:4:") and "nothing is unusual about rule dated-after-assessment" in fault


def test_an_added_guideline_names_as_low_what_every_guideline_below_does(tmp_path):
    top = layer(tmp_path)
    (top / "guidelines").mkdir()
    own = (shipped("rules") / "guidelines" / "esh-2023.yaml").read_text().replace("id: esh-2023", "id: our-own", 1)
    assert "  low: {systolic: 90, diastolic: 60}" in own
    (top / "guidelines" / "own.yaml").write_text(own)
    assert Rules.load(None, (top,))
    (top / "guidelines" / "own.yaml").write_text(own.replace("low: {systolic: 90", "low: {systolic: 70"))
    with pytest.raises(RuleFaults) as caught:
        Rules.load(None, (top,))
    line = own[: own.index("  low: {")].count("\n") + 1
    assert any(str(fault).startswith(f"clinic/guidelines/own.yaml:{line}:") and "less-urgent" in str(fault)
               for fault in caught.value.faults)  # fmt: skip


def test_frozen_patients_get_what_their_sources_ask_for():
    asked = patients()
    wanted = [(patient.level, patient.first_step) for patient in asked]
    assert len(asked) > 20
    assert answered(rules(), asked) == wanted


def fields_of(block) -> set[tuple[str, ...]]:
    paths = set()
    for name, field in block.fields.items():
        key = field.data_key or name
        nested = getattr(field, "schema", None) or getattr(field, "nested", None)
        paths |= (
            {(key, *path) for path in fields_of(nested() if isinstance(nested, type) else nested)} if nested else {(key,)}
        )
    return paths


def test_every_figure_of_urgency_has_a_direction_in_which_it_may_be_changed():
    known = {tuple(map(str, path)) for path in (*NEVER_LOWER, *NEVER_HIGHER, *LEVELS)}
    others = {path for path in fields_of(UrgencyBlock()) if path[0] not in ("symptoms", "sources")}
    assert others == known


def test_the_case_shown_is_one_that_the_layer_misses(tmp_path):
    faults = refused(layer(tmp_path, limits(low="{systolic: 85}")))
    (shown,) = [fault for fault in faults if "'low-with-fainting' names" in fault]
    facts = dict(part.rsplit(" ", 1) for part in shown.partition("2025: ")[2].split(", "))
    assert 85 <= float(facts["systolic"]) < 90
    assert facts["fell_or_fainted"] == "true"
