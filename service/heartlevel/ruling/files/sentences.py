"""Sentences of rule files, taken apart; a slot that cannot be filled is a mistake with its place and the near match."""

from collections.abc import Mapping
from typing import NamedTuple

from heartlevel.facts.catalogue import Fact
from heartlevel.intake.faults import near
from heartlevel.ruling.files.parsing import near_limit
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.ruling.language.template import (
    ENGLISH,
    FIXED,
    NO_PARAMETERS,
    PARAMETER,
    Template,
    TemplateFault,
    Unpaired,
    Voice,
    WrongForms,
)

NO_LIMITS: frozenset[str] = frozenset()


class RuleSentences(NamedTuple):
    """A rule's own texts."""

    title: str
    explanation: Template
    advice: Template


def sentence(
    entry: Entry,
    facts: Mapping[str, Fact],
    limits: frozenset[str],
    faults: list[RuleFault],
    voice: Voice = ENGLISH,
    parameters: Mapping[str, float] = NO_PARAMETERS,
) -> Template | None:
    """Take a written sentence apart; None if it cannot be filled, with the mistake added to `faults`."""
    try:
        return Template(entry.item, facts, limits, voice, parameters)
    except WrongForms as fault:
        faults.append(entry.fault((), "wrong-plural", str(fault)))
    except Unpaired as fault:
        faults.append(entry.fault((), "unknown-placeholder", str(fault)))
    except TemplateFault as fault:
        faults.append(_unknown_placeholder(entry, str(fault), facts, limits, parameters))
    return None


def _unknown_placeholder(
    entry: Entry, written: str, facts: Mapping[str, Fact], limits: frozenset[str], parameters: Mapping[str, float]
) -> RuleFault:
    kind, _, name = written.partition(":")
    if kind == PARAMETER:
        detail = f"'{{{written}}}' shows no parameter that the rule's `when` compares with, in no style there is"
        hint = near(name.partition(":")[0], parameters) or "name the threshold under `parameters` first"
        return entry.fault((), "unknown-placeholder", detail, hint)
    if kind == FIXED:
        return entry.fault((), "unknown-placeholder", f"'{{{written}}}' is no number", "write a plain number: `{fixed:20}`")
    meant = near_limit(name, limits) if kind == "limit" else near(written, facts)
    return entry.fault((), "unknown-placeholder", f"'{{{written}}}' is no fact of this scope and no limit", meant)
