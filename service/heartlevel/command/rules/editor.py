"""`heartlevel rules editor` and `schema`: tell editors which schema is whose, and what is in it."""

import json
import sys
from pathlib import Path
from typing import Any

import click
import orjson

from heartlevel.bundles.bundling import laid_out
from heartlevel.command.options import DIRECTORY, FAILED, ended_by_faults, placed, rules_options
from heartlevel.facts.catalogue import catalogue_of
from heartlevel.resources import shipped
from heartlevel.ruling.files.loading import facts_declared, load
from heartlevel.ruling.tools.editors import (
    editor_settings,
    first_line,
    is_for_rule_files,
    schemas_of_files,
    schemas_written,
)
from heartlevel.ruling.tools.own_schema import rule_files_with

SETTINGS = Path(".vscode", "settings.json")
OWN_SCHEMAS = Path(".vscode", "heartlevel")


@click.command()
@click.argument("directory", type=DIRECTORY)
@rules_options
def editor(directory: Path, folder: Path | None, layers: tuple[Path, ...]) -> None:
    """Write settings into DIRECTORY, of rules or of a layer, so that editors complete and check its files.

    Editors built on Visual Studio Code read DIRECTORY/.vscode/settings.json; other settings in it stay. Any other editor
    with a YAML language server takes the first lines that are printed, each for its kind of file. Facts that DIRECTORY, or
    what it lies over, declares are known; run it again when they change.
    """
    path = directory / SETTINGS
    schemas = _schemas_for(directory, folder, layers)
    added = editor_settings({kind: schema.as_uri() for kind, schema in schemas.items()})["yaml.schemas"]
    settings = _settings_in(path)
    if settings is None:
        click.echo(f"{path} is not plain JSON, and was left alone; under yaml.schemas belongs:", err=True)
        click.echo(_as_text({"yaml.schemas": added}), err=True)
        sys.exit(FAILED)
    others = {name: files for name, files in settings.get("yaml.schemas", {}).items() if not is_for_rule_files(name)}
    settings["yaml.schemas"] = others | added
    path.parent.mkdir(exist_ok=True)
    path.write_text(_as_text(settings) + "\n", encoding="utf-8")
    click.echo(f"{path}: written. For other editors, the first line of a file:")
    for kind, schema in schemas.items():
        click.echo(f"{kind + ':':<12} {first_line(schema)}", nl=False)


def _schemas_for(directory: Path, folder: Path | None, layers: tuple[Path, ...]) -> dict[str, Path]:
    """Return the schema of each kind of file: those of the program or, where facts are declared, written with these."""
    with ended_by_faults(), laid_out(*placed(directory, folder, layers)) as directories:
        own = facts_declared(*directories)
    if not own:
        return schemas_of_files()
    catalogue = catalogue_of(own)
    return schemas_written([catalogue[fact.name] for fact in own], (directory / OWN_SCHEMAS).resolve())


def _settings_in(path: Path) -> dict[str, Any] | None:
    """Return the settings that are there, none where there is no file; None where they are not plain JSON."""
    if not path.exists():
        return {}
    try:
        settings = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return None
    return settings if isinstance(settings, dict) else None


def _as_text(settings: object) -> str:
    return json.dumps(settings, indent=2, ensure_ascii=False)


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
