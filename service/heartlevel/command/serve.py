"""`heartlevel serve`: answer over HTTP."""

from collections.abc import Iterator, Mapping
from os import environ
from typing import Any

import click

from heartlevel.bundles.bundling import load_rules
from heartlevel.command.options import ended_by_faults
from heartlevel.decisions.lines import LinesNotKept
from heartlevel.web.access.configured import configured_by
from heartlevel.web.access.reach import refuse_strangers
from heartlevel.web.server import run
from heartlevel.web.settings import PREFIX, Settings, WrongSettings, directories_in, settings_in


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=2, show_default=True, type=click.IntRange(1, 64))
@click.option("--probes-port", type=click.IntRange(1, 65535), help="Answer /health, /ready and /metrics there too.")
@click.option(
    "--behind-proxy", is_flag=True, help="A proxy before it decides who may call; trials are then off unless set."
)
@click.option("--check", is_flag=True, help="Say what would run, or every mistake, and end.")
def serve(host: str, port: int, workers: int, probes_port: int | None, behind_proxy: bool, check: bool) -> None:
    """Serve over HTTP with gunicorn.

    HEARTLEVEL_RULES names another directory of rule files, HEARTLEVEL_LAYERS a clinic's own over it (several, lowest
    first, are parted as in PATH), HEARTLEVEL_DECISIONS a file to append what was decided to, without data.
    """
    with ended_by_faults():
        values = settings_in({**environ, **({f"{PREFIX}BEHIND_PROXY": "true"} if behind_proxy else {})})
        refuse_strangers([host], values)
        if probes_port == port:
            raise WrongSettings("--probes-port: probes need a port of their own")
        decided = {name: values[name] for name in ("BEHIND_PROXY", "TRIALS")}
        if check:
            click.echo("\n".join(_outline(f"{host}:{port}, {workers} workers", probes_port, values)))
            return
        try:
            run(f"{host}:{port}", workers, (host, probes_port) if probes_port else None, decided)
        except LinesNotKept as error:
            raise click.ClickException(str(error)) from None


def _outline(address: str, probes_port: int | None, values: Mapping[str, Any]) -> Iterator[str]:
    """Yield a line for each address, rule set, layer and setting. Raises WrongSettings, RuleFaults, BundleRefused."""
    yield f"address: {address}" + (f"; probes on port {probes_port}" if probes_port else "")
    configured_by(values)
    ruleset = load_rules(*directories_in(values)).ruleset
    yield f"rules: {ruleset.name}, revision {ruleset.revision}, {ruleset.fingerprint}"
    for layer in ruleset.layers:
        yield f"layer: {layer.id}, revision {layer.revision}, {layer.fingerprint}"
    for name, value in values.items():
        yield (
            f"{PREFIX}{name}: {'' if value is None else value}".rstrip()
            + f"  # {Settings().fields[name].metadata['meaning']}"
        )
