"""`heartlevel rules editor`: tell editors which schema is whose."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from heartlevel.bundles.bundling import laid_out
from heartlevel.command.options import DIRECTORY, FAILED, ended_by_faults, placed, rules_options
from heartlevel.facts.catalogue import catalogue_of
from heartlevel.ruling.files.loading import facts_declared
from heartlevel.ruling.tools.editors import editor_settings, first_line, is_ours, schemas_of_files, schemas_written

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
    others = {name: files for name, files in settings.get("yaml.schemas", {}).items() if not is_ours(name)}
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
