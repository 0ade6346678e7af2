"""The lists in rules/README.md that are made from the program: mistakes, limits, facts."""

from collections.abc import Iterator
from math import isfinite

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.ruling.language.cures import CURES
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet
from heartlevel.ruling.tools.translating.outstanding import languages_in


def with_lists(text: str, ruleset: RuleSet) -> str:
    """Return the page with its lists written anew."""
    for name, lines in {
        "mistakes": _mistakes(),
        "languages": _languages(ruleset),
        "limits": _limits(ruleset),
        "facts": _facts(),
    }.items():
        begin, end = f"<!-- begin: {name} -->", f"<!-- end: {name} -->"
        inner = "\n".join([begin, *lines, end])
        before, begun, rest = text.partition(begin)
        _, ended, after = rest.partition(end)
        if not (begun and ended) or begin in after:
            raise ValueError(f"rules/README.md has not one list of {name}")
        text = before + inner + after
    return text


def _mistakes() -> Iterator[str]:
    yield from ("| code | what to do |", "|---|---|")
    yield from (f"| `{code}` | {cure} |" for code, cure in sorted(CURES.items()))


def _languages(ruleset: RuleSet) -> Iterator[str]:
    yield from ("| language | its texts |", "|---|---|")
    for language in languages_in(ruleset):
        state = "want reading by a clinician who speaks it" if language["wants_reading"] else "have been read"
        state = "are the originals" if language["language"] == DEFAULT_LANGUAGE else state
        yield f"| {language['name']} (`{language['language']}`) | {state} |"


def _limits(ruleset: RuleSet) -> Iterator[str]:
    yield "Limits that every guideline, or every protocol, has, with those of the defaults:"
    yield from ("", "| limit | value |", "|---|---|")
    guideline = ruleset.guidelines[ruleset.default_guideline]
    everywhere = [set(other.limits) for other in ruleset.guidelines.values()]
    in_all = set.intersection(*everywhere) | set(ruleset.protocols[guideline.protocol].limits)
    limits = ruleset.limits(guideline.id, guideline.protocol)
    yield from (f"| `{name}` | {limits[name]:g} |" for name in sorted(in_all))


def _facts() -> Iterator[str]:
    for scope in ("subject", *VISIBLE):
        facts = [fact for fact in CATALOGUE.values() if fact.scope == scope]
        yield from ("", f"### {scope.capitalize()}", "", "| fact | kind | meaning | how it is made |", "|---|---|---|---|")
        yield from map(_fact_row, facts)


def _fact_row(fact: Fact) -> str:
    return f"| `{fact.name}` | {_kind(fact)} | {fact.meaning} | {fact.formula} |".replace("||", "|")


def _kind(fact: Fact) -> str:
    if fact.kind == "choice":
        return ", ".join(fact.names)
    unit = f", {fact.unit}" if fact.unit and fact.unit != "1" else ""
    bounds = f", {fact.low:g} to {fact.high:g}" if isfinite(fact.low) else ""
    return f"{fact.kind}{unit}{bounds}{', share: 1 is all' if fact.share else ''}"
