"""The shipped rules and their texts, and the words by which texts of each language are judged."""

import re

from heartlevel.facts.catalogue import CATALOGUE
from support import rules

RULES = {rule.id: rule for rule in rules().ruleset.every_rule()}
WORDED = {language: one.written["rules"] for language, one in rules().ruleset.wording.items()}
CLINICIAN, ALL = ("title", "explanation", "advice"), ("title", "explanation", "advice", "patient")
TRANSLATED = sorted(set(WORDED) - {"en"})
# Function words of English that are words of no other language shipped, and those that are none of Spanish or of German.
_FUNCTION_WORDS = (
    "the|and|of|with|is|were|are|not|or|for|from|to|at|by|it|this|that|if|be|which|you|your|than|yes|recorded|left|right"
)
ENGLISH_WORDS = {
    language: re.compile(rf"\b({_FUNCTION_WORDS}{more})\b", re.IGNORECASE)
    for language, more in {"en": "", "es": "|was|an|on", "de": "|on"}.items()
}
MEDICINE = {
    "en": re.compile(
        r"\b(start|stop|change|skip|double|increase|reduce|raise|lower|take (more|less))\w*\b[^.]*"
        r"\b(medicines?|medications?|drugs?|pills?|tablets?|doses?|treatments?)\b",
        re.IGNORECASE,
    ),
    "es": re.compile(
        r"\b(suspend|cambi|empie|empec|inici|dej|aument|reduz|reduc|modific|omit|dupli)\w*\b[^.]*"
        r"\b(medicaci\w+|medicamentos?|medicinas?|tratamientos?|pastillas?|dosis|fármacos?)",
        re.IGNORECASE,
    ),
    # Verbs as they are said to somebody or wished for, before the noun or behind it.
    "de": re.compile(
        r"\b(medikament\w*|arznei\w*|behandlung|therapie|tabletten?|pillen?|dosis|dosen)\b[^.]*\b(beginnen|"
        r"beenden|ändern|absetzen|abzusetzen|weglassen|erhöhen|senken|verringern|reduzieren|steigern|verdoppeln|wechseln)\b"
        r"|\b(beginnen|beenden|ändern|setzen|lassen|erhöhen|senken|verringern|reduzieren|steigern|verdoppeln|wechseln)"
        r" sie\b"
        r"[^.]*\b(medikament\w*|arznei\w*|behandlung|therapie|tabletten?|pillen?|dosis|dosen)\b",
        re.IGNORECASE,
    ),
}
# The warning signs that the rules name to clinicians, as they are said to the person.
SIGNS = {
    "en": ("chest", "back", "belly", "headache", "short of breath", "numb", "weak", "confused", "see or", "speak",
           "throw up", "dizzy"),
    "es": ("pecho", "espalda", "vientre", "la cabeza", "falta el aire", "dormida", "débil", "confus", "no ve", "no habla",
           "vomita", "marea"),
    "de": ("Brust", "Rücken", "Bauch", "Kopf", "schlecht Luft", "taub", "schwach", "verwirrt", "sehen oder", "sprechen",
           "erbrechen", "schwindlig"),
}  # fmt: skip
EMERGENCY = {"en": "emergency number", "es": "número de emergencias", "de": "den Notruf"}
# The one word for the cuff, and those that are not to be mixed with it.
CUFF = {"en": ("cuff", "armlet"), "es": ("brazalete", "manguito"), "de": ("Manschette", "Armband")}
URGENT = sorted(name for name, rule in RULES.items() if rule.urgent)
LIMITS = rules().ruleset.limits("acc-aha-2025", "aha-ama-2020")


def texts(language: str, keys=ALL) -> dict[tuple[str, str], str]:
    """A language's texts as written, the rules' own where it leaves them to the rules."""
    return {(name, key): WORDED[language].get(name, {}).get(key) or rule.written[key]
            for name, rule in RULES.items() for key in keys}  # fmt: skip


def spoken(rule: str, language: str) -> str:
    """The text to the person measured, its places filled with the least of each choice and with 12 for numbers."""
    facts = {name: fact.names[0] if fact.names else 12 for name, fact in CATALOGUE.items()}
    return rules().ruleset.wording[language].rules[rule].patient.filled(facts, LIMITS)
