"""What `heartlevel rules test --engine` does: patients and the invented practice held against the rule engine."""

from collections.abc import Iterator
from pathlib import Path

import click

from heartlevel.assessment import Rules
from heartlevel.chaining.held import held_to_engine
from heartlevel.command.demo import HARBOUR_LANE
from heartlevel.intake.ndjson import requests_in_file
from heartlevel.intake.request import Request
from heartlevel.one_call import line_of, read_decoded
from heartlevel.vignettes.judging import patients_in_force, requests_of_patients


def differs_from_engine(rules: Rules, folder: Path | None) -> bool:
    """Say how much was compared and what differs; return whether anything does. Raises EngineFailure."""
    held = held_to_engine(list(_requests(rules, folder)), rules)
    for text in held.differences:
        click.echo(text)
    click.echo(
        f"{held.subjects} people, {held.readings} readings chained by the engine: {held.findings} outcomes of rules and "
        f"{held.conclusions} conclusions compared, {len(held.differences)} differ"
    )
    return bool(held.differences)


def _requests(rules: Rules, folder: Path | None) -> Iterator[Request]:
    entries = [entry for part in patients_in_force(rules.ruleset, folder) for entry in part]
    yield from (sent for sent in requests_of_patients(rules, entries)[1] if isinstance(sent, Request))
    with HARBOUR_LANE.open("rb") as file:
        practice = [read_decoded(line_of(decoded), decoded, rules) for decoded in requests_in_file(file)]
    yield from (sent for sent in practice if isinstance(sent, Request))
