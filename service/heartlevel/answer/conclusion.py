"""The conclusion as it stands first in an answer: each statement said to the clinician and to the person."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from babel.dates import format_date
from babel.numbers import get_decimal_symbol

from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.urgency.sentences import PATIENT, to_do, told
from heartlevel.ruling.language.ruleset import Wording
from heartlevel.ruling.language.statements import READERS
from heartlevel.ruling.language.template import locale_of


def conclusion(conclusions: Conclusions, subject: int) -> dict[str, Any]:
    """Return the sentences of a subject's conclusion by reader, and the statements they say."""
    assessment = conclusions.assessment
    language = assessment.batch.requests[subject].language
    wording, statements = assessment.rules.wording[language], conclusions.statements[subject]
    level = int(conclusions.urgency.levels[subject])
    urgency = {
        "clinician": told(conclusions.urgency, subject),
        "patient": to_do(conclusions.urgency, subject, level, PATIENT),
    }
    written: dict[str, Any] = {
        reader: [
            wording.conclusion.sentences[reader][statement.code].filled(values, {})
            for statement in statements
            if (values := _worded(statement.values, wording, language, reader, urgency[reader])) is not None
        ]
        for reader in READERS
    }
    written["statements"] = [
        {"code": statement.code, "values": {name: _plain(value) for name, value in statement.values.items()}}
        for statement in statements
    ]
    return written


def without_first_step(answer: Mapping[str, Any]) -> list[str]:
    """Return the sentences to the clinician but the first step, for who shows the next steps below them."""
    conclusion = answer["conclusion"]
    both = zip(conclusion["statements"], conclusion["clinician"], strict=True)
    return [sentence for statement, sentence in both if statement["code"] != "first"]


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, date) else value


def _worded(
    values: Mapping[str, object], wording: Wording, language: str, reader: str, urgency: str
) -> dict[str, object] | None:
    """Return what a sentence shows, in its language; None where it has nothing to say to its reader."""
    worded = dict(values)
    for name, value in values.items():
        match name, value:
            case _, date():
                worded[name] = format_date(value, "long", locale_of(language))
            case "target" | "low", str():
                worded[name] = value.replace(".", get_decimal_symbol(locale_of(language)))
            case "told", _:
                worded[name] = urgency
            case "category", str():
                worded[name] = wording.categories.get(value, value)
            case "reason", str():
                worded[name] = _reason(value, wording)
            case "step", str():
                steps = wording.next_steps if reader == "clinician" else wording.next_steps_for_patient
                if value not in steps:
                    return None
                worded[name] = steps[value]
    return worded


def _reason(code: str, wording: Wording) -> str:
    """Return a reason in words: a rule's title, or what is said of a side or an error that no rule names."""
    if code in wording.rules:
        return wording.rules[code].title.removesuffix(".")
    known = wording.sureness.get(f"side-{code}") or wording.sureness[f"error-{code}"]
    return known.removesuffix(".")
