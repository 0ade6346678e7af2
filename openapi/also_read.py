"""Describes in the contract how the texts of fields are written, and how else than as declared a value may be."""

from typing import Any

from apispec.ext.marshmallow.openapi import OpenAPIConverter
from marshmallow import fields

from heartlevel.intake.fields import CLOCK, Clock, Day
from heartlevel.intake.texts.otherwise import TIMES
from heartlevel.intake.texts.otherwise import also_read as otherwise

TAKEN_AT = "taken_at"


def also_read(_: OpenAPIConverter, field: fields.Field[Any], **__: Any) -> dict[str, Any]:
    """Say which form of a text a field of a request takes, and how else it may be written."""
    more = otherwise(field)
    return _form_of(field) | ({"x-also-read": more} if more else {})


def _form_of(field: fields.Field[Any]) -> dict[str, Any]:
    match field:
        case Day():
            return {"format": "date"}
        case Clock():
            return {"pattern": f"^(?:{CLOCK.pattern})$"}
    return {"pattern": f"^{TIMES}$"} if field.name == TAKEN_AT else {}
