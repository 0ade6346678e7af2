"""What editors are told of rule files: which schema is whose, in settings and in a file's first line."""

from collections.abc import Mapping
from pathlib import Path

from heartlevel.resources import shipped
from heartlevel.ruling.files.content import SECTIONS

SCHEMA = ".schema.json"
ENDINGS = ("yaml", "yml")


def schemas_of_files() -> dict[str, Path]:
    """Return the schema of each kind of file, by the name of its folder or, of one at the top, of the file."""
    folder = shipped("openapi") / "rule-files"
    return {path.name.removesuffix(SCHEMA): path for path in sorted(folder.glob(f"*{SCHEMA}"))}


def patterns_of(kind: str, under: str = "") -> list[str]:
    """Return which files are of a kind, in a folder named so wherever it lies."""
    name = f"{kind}/**/*" if kind in SECTIONS else kind
    return [f"{under}{name}.{ending}" for ending in ENDINGS]


def editor_settings(schemas: Mapping[str, str], under: str = "") -> dict[str, dict[str, list[str]]]:
    """Return the settings of an editor with a YAML language server; `schemas` are how to name them, by kind of file."""
    return {"yaml.schemas": {schema: patterns_of(kind, under) for kind, schema in schemas.items()}}


def first_line(kind: str) -> str:
    """Return the comment by which any editor with a YAML language server finds the schema of a file."""
    return f"# yaml-language-server: $schema={schemas_of_files()[kind].as_uri()}\n"
