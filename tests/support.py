"""What several tests share."""

import json
from functools import cache
from pathlib import Path

from heartlevel import Rules, answer_to
from heartlevel.command.demo import HARBOUR_LANE

# A rule as a clinic would add it in a layer.
OWN_RULE = """
- id: pulse-fast-here
  scope: reading
  when: {pulse: {above: 100}}
  effect: none
  severity: low
  title: Fast pulse
  explanation: "The pulse was {pulse} a minute."
  advice: Rest and take it again.
  sources: [{cite: "Common practice", standing: common-practice}]
  examples:
    - {given: {pulse: 101}, expect: fires}
    - {given: {pulse: 100}, expect: silent}
"""


@cache
def rules() -> Rules:
    return Rules.load()


def demo() -> list[dict]:
    return [json.loads(line) for line in HARBOUR_LANE.read_text().splitlines()]


@cache
def demo_answers() -> list[dict]:
    return [answer_to(payload, rules()) for payload in demo()]


def answer(payload: dict) -> dict:
    return answer_to(payload, rules())


def reading(taken_at: str, systolic: float, diastolic: float, **more) -> dict:
    return {"taken_at": taken_at, "systolic": systolic, "diastolic": diastolic, "setting": "home", **more}


def week(days: int = 7, pressures=((128, 82), (126, 81)), options: dict | None = None, **more) -> dict:
    """A subject with two sittings a day at home; `pressures` are the sitting's readings, a minute apart."""
    readings = [
        reading(f"2026-03-{1 + day:02d}T{hour:02d}:{minute:02d}:00+01:00", systolic, diastolic,
                id=f"r-{day}-{hour}-{minute}", **more)
        for day in range(days)
        for hour in (7, 20)
        for minute, (systolic, diastolic) in enumerate(pressures)
    ]  # fmt: skip
    zone = {"time_zone": "Europe/Oslo"}
    return {"subject": {"id": "s-1", "age_years": 50}, "readings": readings, "options": {**zone, **(options or {})}}


def average(answer: dict, setting: str = "home", basis: str = "protocol") -> dict:
    (found,) = [one for one in answer["averages"] if (one["setting"], one["basis"]) == (setting, basis)]
    return found


def rules_fired(answer: dict) -> set[str]:
    return {finding["rule"] for finding in answer["findings"]}


def without_worded_rules(folder: Path) -> None:
    """Leave only next steps and cautions in a copy's wording: its rules are taken out."""
    for path in (folder / "wording").glob("*.yaml"):
        path.write_text(path.read_text().partition("\nrules:\n")[0] + "\n")
