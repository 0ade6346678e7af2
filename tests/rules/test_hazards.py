"""The hazard log names tests that exist, and two of its controls are shown here."""

import re
from pathlib import Path

import pytest

from heartlevel.resources import shipped
from support import answer, reading, rules

NAMED = re.findall(r"`(test_\w+)`", (shipped("rules") / "HAZARDS.md").read_text(encoding="utf-8"))
# A sentence may forbid a change of medicine; it may not ask for one.
CHANGE = re.compile(r"\b(start|stop|change|increase|reduce|double|skip|adjust|omit|raise|lower)\b[^.;]{0,40}"
                    r"\b(medicines?|medication|drugs?|dose|tablets?|treatment)\b", re.IGNORECASE)  # fmt: skip
FORBIDDING = re.compile(r"\b(do not|don't|never|not to|no medicine)\b", re.IGNORECASE)


def test_every_test_the_log_names_exists():
    written = "\n".join(path.read_text(encoding="utf-8") for path in Path(__file__).parents[1].rglob("test_*.py"))
    assert NAMED
    assert [name for name in NAMED if f"def {name}(" not in written] == []


def asks_for_a_change(text: str) -> bool:
    sentences = re.split(r"(?<=[.;!?])\s", text)
    return any(CHANGE.search(one) and not FORBIDDING.search(one) for one in sentences)


def test_no_advice_changes_medicine():
    texts = [rule.written[part] for rule in rules().ruleset.every_rule() for part in ("title", "explanation", "advice")]
    texts += rules().ruleset.wording["en"].next_steps.values()
    assert [text for text in texts if asks_for_a_change(text)] == []
    assert asks_for_a_change("Rest, then double the dose of the medicine.")
    assert not asks_for_a_change("Do not change a medicine.")


@pytest.mark.parametrize(
    ("systolic", "diastolic", "level"),
    [(134, 84, "none"), (135, 80, "same-day"), (159, 109, "same-day"), (160, 90, "now"), (140, 110, "now")],
)
@pytest.mark.parametrize("guideline", sorted(rules().ruleset.guidelines))
def test_severe_in_pregnancy_is_urgent_at_its_own_limit(guideline, systolic, diastolic, level):
    # ISSHP 2021: severe from 160 or 110, raised at home from 135 or 85.
    payload = {
        "subject": {"id": "x", "age_years": 30, "pregnant": True},
        "readings": [reading("2026-03-01T07:00:00+01:00", systolic, diastolic)],
        "options": {"guideline": guideline},
    }
    assert answer(payload)["urgency"]["level"] == level
