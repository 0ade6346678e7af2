"""`heartlevel rules schema`: what an editor completes and checks rule files by, facts of one's own included."""

from pathlib import Path

import click
import orjson

from heartlevel.bundles.bundling import laid_out
from heartlevel.command.options import DIRECTORY, ended_by_faults, placed, rules_options
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.tools.own_schema import rule_files_with


@click.command()
@click.argument("directory", required=False, type=DIRECTORY)
@rules_options
def schema(directory: Path | None, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Write the JSON Schema of rule files under DIRECTORY, of rules or of a layer (by default those in force).

    Facts that they declare are in it beside the shipped ones.
    """
    with ended_by_faults(), laid_out(*placed(directory, folder, layers)) as directories:
        ruleset = load(*directories)
    written = orjson.loads((shipped("openapi") / "rule-files.schema.json").read_bytes())
    own = [ruleset.facts[fact.name] for fact in ruleset.own_facts]
    click.echo(orjson.dumps(rule_files_with(written, own), option=orjson.OPT_INDENT_2))
