"""`heartlevel rules analyse`: rules that cannot fire, always fire, repeat or contradict another."""

import sys
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from textwrap import fill

import click

from heartlevel.command.options import DIRECTORY, FAILED, candidate, loaded, rules_options
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.tools.analysis import (
    ALWAYS,
    CONTRADICTION,
    IDENTICAL,
    IMPLIED,
    NEVER,
    NOT_DECIDED,
    Claim,
    Decoded,
    analyse,
    value_text,
)

WIDTH = 100
DEFECTS = (NEVER, ALWAYS, IDENTICAL, CONTRADICTION)
WORDS = {
    NEVER: "{rule} can never fire: {detail}.",
    ALWAYS: "{rule} always fires: {detail}. Simplest case: {facts}.",
    IDENTICAL: "{rule} and {other} say the same: {detail}. Simplest case where both fire: {facts}.",
    CONTRADICTION: "{rule} and {other} can fire together and contradict each other: {detail}. Simplest case: {facts}.",
    IMPLIED: "Whenever {other} fires, {rule} fires too{detail}. Simplest case where both fire: {facts}; where only "
    "{rule} fires: {only}.",
    NOT_DECIDED: "{rule}{other}: {detail}.",
}


@click.command(name="analyse")
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def analyse_rules(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Try every combination of facts that the rules of DIRECTORY (by default those in force) can tell apart.

    Names rules that never fire, always fire, do the same as another, contradict another, or fire whenever another
    does, each with the simplest case that shows it. Ends with status 1 if there are any of the first four kinds.
    Facts are combined freely, so a case may be one that cannot occur; what is said never to fire never does.
    Of a layer, only what it brings is shown; what is so below it is counted.
    """
    ruleset = candidate(directory, folder, layers).ruleset
    claims = analyse(ruleset)
    below = {_what(claim) for claim in analyse(loaded(folder).ruleset)} if ruleset.layers else set()
    brought = [claim for claim in claims if _what(claim) not in below]
    for claim in brought:
        click.echo(f"{_paragraph(claim, ruleset)}\n")
    wrong = sum(claim.kind in DEFECTS for claim in brought)
    open_ = sum(claim.kind == NOT_DECIDED for claim in brought)
    same = f", {len(claims) - len(brought)} as below the layer" if ruleset.layers else ""
    click.echo(f"{len(ruleset.every_rule())} rules: {wrong} to correct, {len(brought) - wrong - open_} to know of, "
               f"{open_} not decided{same}")  # fmt: skip
    sys.exit(FAILED if wrong else 0)


def _what(claim: Claim) -> tuple[str, str, str | None]:
    return claim.kind, claim.rule, claim.other


def _paragraph(claim: Claim, ruleset: RuleSet) -> str:
    titles = {rule.id: f"'{rule.title}' ({rule.id})" for rule in ruleset.every_rule()}
    other = titles[claim.other] if claim.other else ""
    detail = claim.detail
    if claim.kind == IMPLIED and detail:
        detail = f", since {detail}"
    if claim.kind == NOT_DECIDED and other:
        other = f" and {other}"
    words = WORDS[claim.kind].format(
        rule=titles[claim.rule], other=other, detail=detail, facts=_facts(claim.facts), only=_facts(claim.only_rule)
    )
    return fill(f"{words} {' '.join(_scope(claim, ruleset))}", WIDTH, subsequent_indent="    ", break_on_hyphens=False)


def _facts(facts: Decoded | None) -> str:
    named = ", ".join(f"{name} {value_text(value)}" for name, value in (facts or {}).items())
    return f"{named} and nothing else recorded" if named else "nothing recorded"


def _scope(claim: Claim, ruleset: RuleSet) -> Iterator[str]:
    """Yield for which guidelines and protocols a claim holds, and for which its facts are, if not for all."""
    yield f"Holds for {_profiles(claim.profiles, ruleset)}."
    if claim.facts is not None and len(claim.profiles) < len(ruleset.guidelines) * len(ruleset.protocols):
        guideline, protocol = claim.profiles[0]
        yield f"The cases are for guideline {guideline} with protocol {protocol}."


def _profiles(profiles: Sequence[Profile], ruleset: RuleSet) -> str:
    guidelines = list(dict.fromkeys(guideline for guideline, _ in profiles))
    protocols = list(dict.fromkeys(protocol for _, protocol in profiles))
    if len(profiles) < len(guidelines) * len(protocols):
        return ", ".join(f"{guideline} with {protocol}" for guideline, protocol in profiles)
    if len(profiles) == len(ruleset.guidelines) * len(ruleset.protocols):
        return "every guideline and protocol"
    named = _named("guideline", guidelines, ruleset.guidelines), _named("protocol", protocols, ruleset.protocols)
    return " with ".join(named)


def _named(kind: str, names: Sequence[str], known: Collection[str]) -> str:
    return f"every {kind}" if len(names) == len(known) else f"{kind} {' or '.join(names)}"
