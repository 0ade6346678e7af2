"""A clinic's layer that declares facts of its own, and rules that compare them."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from heartlevel import Rules

SOURCES = '[{cite: "Common practice", standing: common-practice}]'
BATH = f"""
- name: after_hot_bath
  recorded_with: reading
  kind: flag
  meaning: within half an hour of a hot bath
  sources: {SOURCES}
"""
FACTS = f"""{BATH}
- name: garment_under_cuff
  recorded_with: reading
  kind: choice
  values: [none, shirt, thick-sleeve]
  meaning: what lay between cuff and skin
  sources: {SOURCES}
- name: room_temperature
  recorded_with: reading
  kind: number
  unit: Cel
  range: [5, 40]
  meaning: temperature of the room
  sources: {SOURCES}
- name: shown_how
  recorded_with: subject
  kind: flag
  meaning: somebody has shown the person how to measure
  sources: {SOURCES}
- name: battery_changed_days
  recorded_with: device
  kind: number
  unit: d
  range: [0, 3650]
  meaning: days since its batteries were changed
  sources: {SOURCES}
"""


def rule(name: str, condition: str, fires: str, silent: str, **more: str) -> str:
    """A rule of the scope reading; `fires` and `silent` are what its examples give."""
    parts = {"effect": "doubtful", "title": name.replace("-", " ").capitalize(), "explanation": "As recorded.", **more}
    return f"""
- id: {name}
  scope: reading
  when: {condition}
  severity: moderate
  advice: Ask the practice.
  sources: {SOURCES}
  examples: [{{given: {fires}, expect: fires}}, {{given: {silent}, expect: silent}}]
""" + "".join(f"  {key}: {value}\n" for key, value in parts.items())


AFTER_BATH = rule("after-hot-bath", "{after_hot_bath: {equals: true}}", "{after_hot_bath: true}", "{after_hot_bath: false}")
RULES = (
    AFTER_BATH
    + rule("over-a-sleeve", "{garment_under_cuff: {one_of: [thick-sleeve]}}", "{garment_under_cuff: thick-sleeve}",
           "{garment_under_cuff: none}", explanation='"Over {garment_under_cuff} at {room_temperature} °C."')
    + rule("cold-room", "{room_temperature: {below: 18}}", "{room_temperature: 17}", "{room_temperature: 18}",
           explanation='"The room had {room_temperature} °C."')
    + rule("never-shown-how", "{shown_how: {equals: false}}", "{shown_how: false}", "{shown_how: true}", effect="none")
    + rule("old-batteries", "{battery_changed_days: {above: 365}}", "{battery_changed_days: 366}",
           "{battery_changed_days: 365}")
)  # fmt: skip
OWN_RULES = ("after-hot-bath", "over-a-sleeve", "cold-room", "never-shown-how", "old-batteries")


def own_layer(folder: Path, facts: str = FACTS, rules: str = RULES, more: str = "", name: str = "clinic") -> Path:
    """Write a layer. `more` goes into its own file."""
    top = folder / name
    for inner, text in (("facts", facts), ("reading", rules)):
        (top / inner).mkdir(parents=True)
        if text:
            (top / inner / "ours.yaml").write_text(text)
    (top / "layer.yaml").write_text(f'name: {name}\nrevision: "1"\n{more}')
    return top


@cache
def own_rules() -> Rules:
    with TemporaryDirectory() as folder:
        return Rules.load(None, (own_layer(Path(folder)),))
