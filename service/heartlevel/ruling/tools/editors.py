"""What editors are told of rule files: which schema is whose, in settings and in a file's first line."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import orjson

from heartlevel.facts.catalogue import Fact
from heartlevel.resources import shipped
from heartlevel.ruling.files.content import PATIENTS, SECTIONS
from heartlevel.ruling.tools.own_schema import rule_files_with

SCHEMA = ".schema.json"
WHOLE, KINDS = f"rule-files{SCHEMA}", "rule-files"  # what the schemas of the kinds, in a folder beside it, refer to
ENDINGS = ("yaml", "yml")


def schemas_of_files() -> dict[str, Path]:
    """Return the schema of each kind of file, by the name of its folder or, of one at the top, of the file."""
    folder = shipped("openapi") / KINDS
    return {path.name.removesuffix(SCHEMA): path for path in sorted(folder.glob(f"*{SCHEMA}"))}


def schemas_written(facts: Sequence[Fact], folder: Path) -> dict[str, Path]:
    """Write the schemas, with facts of one's own, into a folder; return that of each kind of file."""
    whole, kinds = orjson.loads((shipped("openapi") / WHOLE).read_bytes()), folder / KINDS
    kinds.mkdir(parents=True, exist_ok=True)
    (folder / WHOLE).write_bytes(orjson.dumps(rule_files_with(whole, facts), option=orjson.OPT_INDENT_2))
    for path in schemas_of_files().values():
        (kinds / path.name).write_bytes(path.read_bytes())
    return {kind: kinds / path.name for kind, path in schemas_of_files().items()}


def is_ours(schema: str) -> bool:
    """Tell whether a schema that settings name is one for rule files, wherever it lies."""
    return any(schema.endswith(f"/{KINDS}/{path.name}") for path in schemas_of_files().values())


def patterns_of(kind: str, under: str = "") -> list[str]:
    """Return which files are of a kind, in a folder named so wherever it lies."""
    name = f"{kind}/**/*" if kind in (*SECTIONS, PATIENTS) else kind
    return [f"{under}{name}.{ending}" for ending in ENDINGS]


def editor_settings(schemas: Mapping[str, str], under: str = "") -> dict[str, dict[str, list[str]]]:
    """Return the settings of an editor with a YAML language server; `schemas` are how to name them, by kind of file."""
    return {"yaml.schemas": {schema: patterns_of(kind, under) for kind, schema in schemas.items()}}


def first_line(schema: Path) -> str:
    """Return the comment by which any editor with a YAML language server finds the schema of a file."""
    return f"# yaml-language-server: $schema={schema.as_uri()}\n"
