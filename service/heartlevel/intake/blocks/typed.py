"""Lists of objects read by a decoder that is made from their declaration: in one step, where nothing is in doubt.

Like `screening` it loads what marshmallow would load and says of nothing what is wrong: it takes all of a list or none.
"""

import sys
from collections.abc import Callable
from typing import Annotated, Any, Literal, TypeAlias

import msgspec
import orjson
from marshmallow import fields
from msgspec import UNSET, Meta, UnsetType

from heartlevel.intake.fields import Block, Choice, Flag, Items, Number, Part, Text

Reader: TypeAlias = Callable[[list[Any]], list[dict[str, Any]] | None]
# What orjson would write though JSON has it not.
JSON_ALONE = orjson.OPT_PASSTHROUGH_SUBCLASS | orjson.OPT_PASSTHROUGH_DATACLASS | orjson.OPT_PASSTHROUGH_DATETIME
LARGEST = sys.float_info.max


class _NotTyped(Exception):
    """A field that reads otherwise than its kind: marshmallow has to ask it."""


def reader_of(block: Block) -> Reader | None:
    """Return what reads a list of such objects; None for a declaration with fields that have to be asked themselves.

    It returns None for a list in which anything may be wrong, or is written otherwise than as its own kind.
    """
    try:
        objects = _list_of(_object(block))
    except _NotTyped:
        return None

    def loaded(sent: list[Any]) -> list[dict[str, Any]] | None:
        if not _is_plain(sent):
            return None
        try:
            read: list[dict[str, Any]] = msgspec.to_builtins(msgspec.convert(sent, objects))
        except msgspec.ValidationError:
            return None
        return read if read == sent else None  # a tuple passes for a list there, and does not to marshmallow

    return loaded


def _list_of(kind: Any) -> Any:
    return list[kind]


def _is_plain(sent: list[Any]) -> bool:
    """Say whether JSON could have said all of it: no half characters, no objects of Python's own."""
    try:
        orjson.dumps(sent, option=JSON_ALONE)
    except TypeError:
        return False
    return True


def _object(block: Block) -> type[msgspec.Struct]:
    """Return the type of an object; what it does not hold stays away, what it must not hold is refused."""
    names = {f"field_{number}": name for number, name in enumerate(block.fields)}
    typed = [_member(field, block.fields[name]) for field, name in names.items()]
    return msgspec.defstruct(
        type(block).__name__, typed, rename=names.get, forbid_unknown_fields=True, kw_only=True, gc=False
    )  # fmt: skip


def _member(name: str, field: fields.Field[Any]) -> tuple[Any, ...]:
    kind = _type_of(field) | None if field.allow_none else _type_of(field)
    return (name, kind) if field.required else (name, kind | UnsetType, UNSET)


def _type_of(field: fields.Field[Any]) -> Any:
    # By exact type: a kind of field derived from another may be stricter than it.
    kind = KINDS.get(type(field))
    if kind is None:
        raise _NotTyped
    return kind(field)


KINDS: dict[type, Callable[[Any], Any]] = {
    Number: lambda field: Annotated[float, Meta(ge=max(field.low, -LARGEST), le=min(field.high, LARGEST))],
    Text: lambda field: Annotated[str, Meta(min_length=1, max_length=field.longest)],
    Items: lambda field: Annotated[_list_of(_type_of(field.inner)), Meta(min_length=field.least, max_length=field.longest)],
    Flag: lambda field: bool,
    Choice: lambda field: Literal[field.names],
    Part: lambda field: _object(field.schema),
}
