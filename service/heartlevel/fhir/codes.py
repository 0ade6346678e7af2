"""The codes that are understood, of the shipped file and a clinic's own over it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from os import environ
from pathlib import Path
from typing import Any

import yaml
from marshmallow import ValidationError

from heartlevel.fhir.names import OWN
from heartlevel.intake.blocks.members import fields_within
from heartlevel.intake.fields import Anything, Block, Flag, Items, Part, Text
from heartlevel.intake.schema import Device, Reading, Subject
from heartlevel.vocabulary import SYMPTOMS

SHIPPED = Path(__file__).with_name("codes.yaml")
OWN_FILE = "HEARTLEVEL_FHIR_CODES"
SYMPTOM = "symptom"
SHORTEST_ALONE = 6  # signs of a code that is known without its system, as those of SNOMED CT are
MOST_CODES = 20_000


class CodeBlock(Block):
    """A code, what it says of which field, and where that was looked up."""

    field = Text(required=True)
    value = Anything(required=True)
    system = Text(required=True)
    code = Text(required=True)
    display = Text(200, required=True)
    source = Text(required=True)
    prefix = Flag()


class CodesFileBlock(Block):
    """A file of codes. `systems` and `sources` give the names used in it their addresses and references."""

    systems = Anything(required=True)
    sources = Anything(required=True)
    codes = Items(Part(CodeBlock), MOST_CODES, required=True)


class WrongCodes(ValueError):
    """A file of codes cannot be used; the text names the file and says why."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code as it is written, and the field and value that it says."""

    field: str
    value: Any
    system: str
    code: str
    display: str
    prefix: bool = False

    def coding(self) -> dict[str, str]:
        """Return it as a FHIR Coding."""
        return {"system": self.system, "code": self.code, "display": self.display}


class Codes:
    """Codes by what they are and by what they say."""

    def __init__(self, codes: Sequence[Code]) -> None:
        """Take the codes, those that count first before others."""
        self._whole: dict[tuple[str, str], list[Code]] = {}
        self._prefixes = [code for code in codes if code.prefix]
        self._written: dict[tuple[str, Any], Code] = {}
        self._in_any_system: dict[str, list[Code]] = {}  # by the code alone
        for code in codes:
            self._written.setdefault((code.field, code.value), code)
            known = self._whole.setdefault((code.system, code.code), [])
            if all(earlier.field != code.field for earlier in known):
                known.append(code)
                self._in_any_system.setdefault(code.code, []).append(code)

    def meanings(self, system: str, code: str) -> list[tuple[str, Any]]:
        """Return the fields that a code says something of, with their values."""
        if system.startswith(OWN):
            return [(system.removeprefix(OWN), code)]
        codes = self._whole.get((system, code)) or [
            prefix for prefix in self._prefixes if prefix.system == system and code.startswith(prefix.code)
        ]
        return [(known.field, known.value) for known in codes]

    def meanings_anywhere(self, code: str) -> list[tuple[str, Any]]:
        """Return what a code says in any system that is known; nothing where it is so short that it may be another's."""
        known = self._in_any_system.get(code, ()) if len(code) >= SHORTEST_ALONE else ()
        return [(item.field, item.value) for item in known]

    def listed(self) -> list[dict[str, Any]]:
        """Return every code with what it says."""
        return [
            {"field": code.field, "value": code.value, "system": code.system, "code": code.code, "display": code.display,
             "prefix": code.prefix}
            for known in self._whole.values() for code in known
        ]  # fmt: skip

    def concept(self, field: str, value: str | bool) -> dict[str, Any]:
        """Return a CodeableConcept that says the value: by a published code, or else by one of our own."""
        code = self._written.get((field, value))
        text = str(value).lower() if isinstance(value, bool) else value
        return {"coding": [code.coding() if code else {"system": OWN + field, "code": text}], "text": text}


def codes_in_force() -> Codes:
    """Return the codes, those of the file that the environment names among them. Raises WrongCodes."""
    own = environ.get(OWN_FILE)
    return codes_of(Path(own) if own else None)


@cache
def codes_of(own: Path | None = None) -> Codes:
    """Return the shipped codes and, before them, those of a clinic's file. Raises WrongCodes."""
    return Codes([code for path in ([own] if own else []) + [SHIPPED] for code in _read(path)])


def _read(path: Path) -> Iterator[Code]:
    try:
        content = CodesFileBlock().load(yaml.safe_load(path.read_text(encoding="utf-8")))
    except ValidationError as error:
        raise WrongCodes(f"{path}: {error.messages}") from None
    except (OSError, ValueError, yaml.YAMLError, RecursionError) as error:
        raise WrongCodes(f"{path}: cannot be read: {type(error).__name__}") from None
    for entry in content["codes"]:
        yield _code(entry, content, path)


def _code(entry: Mapping[str, Any], content: Mapping[str, Any], path: Path) -> Code:
    what = f"{path}: code {entry['code']}"
    if entry["system"] not in content["systems"] or entry["source"] not in content["sources"]:
        raise WrongCodes(f"{what}: its system or source is not named in the file")
    _check_value(entry["field"], entry["value"], what)
    system = content["systems"][entry["system"]]
    return Code(entry["field"], entry["value"], system, entry["code"], entry["display"], bool(entry.get("prefix")))


@cache
def coded_fields() -> Mapping[str, Any]:
    """Return the fields that a code may say, by their dotted names."""
    return {".".join(path): field for block in (Device(), Subject(), Reading()) for path, field in fields_within(block)}


def _check_value(field: str, value: object, what: str) -> None:
    if field == SYMPTOM:
        if value not in SYMPTOMS:
            raise WrongCodes(f"{what}: {value!r} is none of the symptoms")
    elif field not in coded_fields():
        raise WrongCodes(f"{what}: there is no field {field!r}")
    else:
        try:
            coded_fields()[field].deserialize(value)
        except ValidationError as error:
            raise WrongCodes(f"{what}: {value!r} is no value of {field}: {error.messages}") from None
