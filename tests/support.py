"""What several tests share."""

import csv
import io
import json
import os
import re
import sys
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from re import sub

import pytest
from click.testing import CliRunner

from heartlevel import Rules, answer_to
from heartlevel.command import assess as assessing
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.command.main import main

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


def examples(count: int) -> int:
    """How many examples a property test looks at: those it names, twenty times as many with HYPOTHESIS_PROFILE=long."""
    return 20 * count if os.environ.get("HYPOTHESIS_PROFILE") == "long" else count


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


def rules_told(answer: dict) -> set[str]:
    """The rules that an answer tells, as findings or as notes."""
    return rules_fired(answer) | {note["rule"] for note in answer["notes"]}


def without_worded_rules(folder: Path) -> None:
    """Leave only next steps and cautions in a copy's wording: its rules are taken out, and what shows their parameters."""
    for path in (folder / "wording").glob("*.yaml"):
        others = path.read_text().partition("\nrules:\n")[0] + "\n"
        path.write_text(sub(r"\{param:[^{}]*\}", "a while", others))


def assess_in_process(*arguments: str, given: str | bytes | None = None):
    """Run `heartlevel assess` with the shipped rules, loaded once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assessing, "loaded", lambda folder, layers: rules())
        return CliRunner().invoke(main, ["assess", *map(str, arguments)], input=given)


def requests(subjects: int = 10, readings: int = 3) -> list[dict]:
    """Invented subjects; every third has urgent pressures."""
    return [
        {**week(), "subject": {"id": f"s-{number:03d}", "age_years": 30 + number % 50},
         "readings": [reading(f"2026-03-{1 + day:02d}T07:10:00+01:00", 190 + day if number % 3 == 0 else 121 + day, 82)
                      for day in range(readings)]}
        for number in range(subjects)
    ]  # fmt: skip


def as_ndjson(payloads: list[dict]) -> bytes:
    return b"".join(json.dumps(one).encode() + b"\n" for one in payloads)


def as_rows(payloads: list[dict]) -> list[dict]:
    """The same subjects as rows of a table, one reading a row, dotted names."""
    return [
        {"subject": one["subject"]["id"], "subject.age_years": one["subject"]["age_years"],
         "options.time_zone": one["options"]["time_zone"], **row}
        for one in payloads for row in one["readings"]
    ]  # fmt: skip


def as_csv(rows: list[dict]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def reached(contract: dict, title: str, seen: set[str] | None = None) -> set[str]:
    """The schemas of the contract that one is made of, and itself."""
    seen = set() if seen is None else seen
    seen.add(title)
    for other in re.findall(r'"#/components/schemas/(\w+)"', json.dumps(contract["components"]["schemas"][title])):
        if other not in seen:
            reached(contract, other, seen)
    return seen


def calls_of(work: Callable[[], object], *functions: Callable) -> Counter[str]:
    """Return how often functions are called while work is done, by name: times are no test."""
    names, counted = {function.__code__: function.__name__ for function in functions}, Counter()

    def count(frame, event, _):
        if event == "call" and frame.f_code in names:
            counted[names[frame.f_code]] += 1

    sys.setprofile(count)
    try:
        work()
    finally:
        sys.setprofile(None)
    return counted
