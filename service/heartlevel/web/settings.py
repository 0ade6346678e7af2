"""What the environment can set: each setting with its kind, its default and its meaning; all mistakes are told at once.

A misspelt name would be passed over in silence, and a service would run without a clinic's layer: it is a mistake.
"""

from collections.abc import Mapping
from os import W_OK, access, pathsep
from pathlib import Path
from typing import Any, cast

from marshmallow import Schema, ValidationError, fields
from marshmallow.validate import OneOf, Range

from heartlevel.intake import request
from heartlevel.intake.faults import abridged, closest
from heartlevel.vocabulary import SETTINGS
from heartlevel.web.connections.capacity import MEBIBYTE

PREFIX = "HEARTLEVEL_"


class WrongSettings(Exception):
    """The environment sets what is no setting, or to what it cannot be: a line each, with what is allowed."""


class Existing(fields.Field[str]):
    """A path, or several parted as in PATH, to what is there."""

    default_error_messages = {"missing": "there is nothing at {path}", "unfit": "{path}: {why}"}

    def __init__(self, *, has_many: bool = False, **more: Any) -> None:
        """Take a path; with `has_many`, any number of them, parted as in PATH."""
        super().__init__(**more)
        self._has_many = has_many

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> str:
        for path in filter(None, value.split(pathsep) if self._has_many else [value]):
            try:
                is_there = Path(path).exists()
            except OSError as error:  # too long to be one
                raise self.make_error("unfit", path=abridged(path), why=error.strerror) from None
            if not is_there:
                raise self.make_error("missing", path=path)
        return str(value)


class Appendable(fields.Field[str]):
    """A path to a file that can be appended to, or begun; with `has_output`, or `-` for standard output."""

    default_error_messages = {"unfit": "{path} cannot be written"}

    def __init__(self, *, has_output: bool = False, **more: Any) -> None:
        """Take a path."""
        super().__init__(**more)
        self._has_output = has_output

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> str:
        path = Path(value)
        if not (self._has_output and value == "-") and not access(path if path.is_file() else path.parent, W_OK):
            raise self.make_error("unfit", path=abridged(value))
        return str(value)


def _whole(meaning: str, default: int) -> fields.Integer:
    return fields.Integer(load_default=default, validate=Range(min=1), metadata={"meaning": meaning})


def _words(meaning: str, default: str | None = None, **more: Any) -> fields.String:
    return fields.String(load_default=default, metadata={"meaning": meaning}, **more)


def _path(meaning: str, default: str | None = None, **more: Any) -> Existing:
    return Existing(load_default=default, metadata={"meaning": meaning}, **more)


class Settings(Schema):
    """The settings, by their names without the prefix."""

    RULES = _path("directory of rule files, or a bundle, instead of the shipped ones")
    LAYERS = _path("a clinic's directories over the rules, lowest first, parted as in PATH", "", has_many=True)
    TRUSTED_KEYS = _path(
        "files of public keys, parted as in PATH; nothing but bundles that they signed is taken", has_many=True
    )
    RELOAD_SECONDS = fields.Float(
        load_default=2.0,
        validate=Range(min=0),
        metadata={"meaning": "seconds between two looks for changed rule files, 0 for none"},
    )
    MAX_CONTENT_LENGTH = _whole("bytes of the body of one request", 8 * MEBIBYTE)
    MOST_READINGS = _whole("readings of one request", request.MOST_READINGS)
    STREAM_LINES = _whole("lines of one stream", 100_000)
    STREAM_BYTES = _whole("bytes of one stream, as they are once decoded", 512 * MEBIBYTE)
    STREAM_SECONDS = _whole("seconds within which a stream is sent; its answers may be read for as many more", 3600)
    STREAM_KEPT_BYTES = _whole("bytes kept in temporary files of answers to a stream that nobody reads yet", 256 * MEBIBYTE)
    FHIR_CODES = _path("file of a clinic's own codes in FHIR resources")
    CDS_ORIGINS = _words("origins of pages that may call CDS Hooks, parted by commas", "")
    CDS_TRUST = _path("file of the clients of CDS Hooks that are trusted; without, all are")
    DECISIONS = Appendable(
        load_default=None, metadata={"meaning": "file that what was decided is appended to, without data"}
    )
    AUDIT = Appendable(
        load_default=None,
        has_output=True,
        metadata={
            "meaning": "file, or - for standard output, for who asked what kind of thing by which rules, without data"
        },
    )
    SPANS = fields.Boolean(
        load_default=False,
        metadata={"meaning": "whether spans of requests are sent by OTLP, as OTEL_... of OpenTelemetry say (extra `otel`)"},
    )
    KEYS = _path("file of the keys of callers, made by `heartlevel keys new`")
    JWKS = _words("keys that tokens of callers are verified by: a JSON Web Key Set, its path or https address")
    JWT_ISSUER = _words("who issues those tokens (iss)")
    JWT_AUDIENCE = _words("whom they are for (aud)")
    TRIALS = fields.Boolean(load_default=True, metadata={"meaning": "whether candidate rules may be tried by POST"})
    TRYOUT = fields.Boolean(load_default=True, metadata={"meaning": "whether `/` has the page to try the service out"})
    BEHIND_PROXY = fields.Boolean(
        load_default=False,
        metadata={"meaning": "whether a proxy decides who may call; trials are then off unless set"},
    )
    CDS_SETTING = _words("where readings were taken that do not say it", validate=OneOf(SETTINGS))


NAMES = tuple(Settings().fields)


def settings_in(environment: Mapping[str, str]) -> dict[str, Any]:
    """Return every setting's value, by name without the prefix. Raises WrongSettings with all mistakes."""
    set_here = {name.removeprefix(PREFIX): value for name, value in environment.items() if name.startswith(PREFIX)}
    mistakes = strange_names(environment)
    known = {name: value for name, value in set_here.items() if name in NAMES and value != ""}
    try:
        values: dict[str, Any] = Settings().load(known)
    except ValidationError as error:
        by_name = cast(dict[str, list[str]], error.messages)
        mistakes += [f"{PREFIX}{name}: {' '.join(messages)}" for name, messages in sorted(by_name.items())]
        values = {}
    if values.get("BEHIND_PROXY") and "TRIALS" not in known:
        values["TRIALS"] = False
    if values.get("JWKS") and not (values["JWT_ISSUER"] and values["JWT_AUDIENCE"]):
        mistakes.append(f"{PREFIX}JWKS needs {PREFIX}JWT_ISSUER and {PREFIX}JWT_AUDIENCE")
    if mistakes:
        raise WrongSettings("\n".join(mistakes))
    return values


def strange_names(environment: Mapping[str, str]) -> list[str]:
    """Return a line for each name that looks like a setting and is none, with the setting that may be meant."""
    strange = (name for name in sorted(environment) if name.startswith(PREFIX) and name.removeprefix(PREFIX) not in NAMES)
    return [f"{name} is no setting; {_meant(name.removeprefix(PREFIX))}" for name in strange]


def _meant(name: str) -> str:
    meant = closest(name, NAMES)
    return f"did you mean {PREFIX}{meant}?" if meant else f"there are {', '.join(PREFIX + known for known in NAMES)}"


def directories_in(values: Mapping[str, Any]) -> tuple[Path | None, tuple[Path, ...]]:
    """Return the directory of rule files, or the bundle, that settings name, and those of layers."""
    return Path(values["RULES"]) if values["RULES"] else None, layers_in(values["LAYERS"])


def layers_in(value: str) -> tuple[Path, ...]:
    """Return the directories of layers, lowest first, that a setting names."""
    return tuple(Path(path) for path in value.split(pathsep) if path)
