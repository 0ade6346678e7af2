"""`heartlevel rules editor`: tell editors which schema is whose."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from heartlevel.command.options import DIRECTORY, FAILED
from heartlevel.ruling.tools.editors import editor_settings, first_line, schemas_of_files

SETTINGS = Path(".vscode", "settings.json")


@click.command()
@click.argument("directory", type=DIRECTORY)
def editor(directory: Path) -> None:
    """Write settings into DIRECTORY, of rules or of a layer, so that editors complete and check its files.

    Editors built on Visual Studio Code read DIRECTORY/.vscode/settings.json; other settings in it stay. Any other editor
    with a YAML language server takes the first lines that are printed, each for its kind of file.
    """
    path = directory / SETTINGS
    settings = _settings_in(path)
    if settings is None:
        click.echo(f"{path} is not plain JSON, and was left alone; under yaml.schemas belongs:", err=True)
        click.echo(_as_text(_schemas()), err=True)
        sys.exit(FAILED)
    settings["yaml.schemas"] = {**settings.get("yaml.schemas", {}), **_schemas()["yaml.schemas"]}
    path.parent.mkdir(exist_ok=True)
    path.write_text(_as_text(settings) + "\n", encoding="utf-8")
    click.echo(f"{path}: written. For other editors, the first line of a file:")
    for kind in schemas_of_files():
        click.echo(f"{kind + ':':<12} {first_line(kind)}", nl=False)


def _settings_in(path: Path) -> dict[str, Any] | None:
    """Return the settings that are there, none where there is no file; None where they are not plain JSON."""
    if not path.exists():
        return {}
    try:
        settings = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return None
    return settings if isinstance(settings, dict) else None


def _schemas() -> dict[str, dict[str, list[str]]]:
    return editor_settings({kind: path.as_uri() for kind, path in schemas_of_files().items()})


def _as_text(settings: object) -> str:
    return json.dumps(settings, indent=2, ensure_ascii=False)
