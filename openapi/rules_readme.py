"""The lists in rules/README.md that are made from the program: mistakes, limits, facts."""

import re
from collections.abc import Iterator
from math import isfinite

from heartlevel.facts.catalogue import CATALOGUE, VISIBLE, Fact
from heartlevel.ruling.language.cures import CURES
from heartlevel.ruling.language.ruleset import RuleSet


def with_lists(text: str, ruleset: RuleSet) -> str:
    """Return the page with its three lists written anew."""
    for name, lines in {"mistakes": _mistakes(), "limits": _limits(ruleset), "facts": _facts()}.items():
        begin, end = f"<!-- begin: {name} -->", f"<!-- end: {name} -->"
        inner = "\n".join([begin, *lines, end])
        text, found = re.subn(f"{re.escape(begin)}.*?{re.escape(end)}", lambda _, to=inner: to, text, flags=re.DOTALL)
        if found != 1:
            raise ValueError(f"rules/README.md has {found} places for {name}")
    return text


def _mistakes() -> Iterator[str]:
    yield from ("| code | what to do |", "|---|---|")
    yield from (f"| `{code}` | {cure} |" for code, cure in sorted(CURES.items()))


def _limits(ruleset: RuleSet) -> Iterator[str]:
    yield "Limits that every guideline, or every protocol, has, with those of the defaults:"
    yield from ("", "| limit | value |", "|---|---|")
    guideline = ruleset.guidelines[ruleset.default_guideline]
    everywhere = [set(one.limits) for one in ruleset.guidelines.values()]
    in_all = set.intersection(*everywhere) | set(ruleset.protocols[guideline.protocol].limits)
    limits = ruleset.limits(guideline.id, guideline.protocol)
    yield from (f"| `{name}` | {limits[name]:g} |" for name in sorted(in_all))


def _facts() -> Iterator[str]:
    for scope in ("subject", *VISIBLE):
        facts = [one for one in CATALOGUE.values() if one.scope == scope]
        yield from ("", f"### {scope.capitalize()}", "", "| fact | kind | meaning | how it is made |", "|---|---|---|---|")
        yield from (f"| `{one.name}` | {_kind(one)} | {one.meaning} | {one.formula} |".replace("||", "|") for one in facts)


def _kind(fact: Fact) -> str:
    if fact.kind == "choice":
        return ", ".join(fact.names)
    unit = f", {fact.unit}" if fact.unit and fact.unit != "1" else ""
    bounds = f", {fact.low:g} to {fact.high:g}" if isfinite(fact.low) else ""
    return f"{fact.kind}{unit}{bounds}{', share: 1 is all' if fact.share else ''}"
