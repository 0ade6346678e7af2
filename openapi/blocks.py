"""How declared objects are described: those of requests and rule files take no key that is not declared."""

from typing import Any

from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter

from heartlevel.intake.fields import Block


class Converter(OpenAPIConverter):
    """Says of a block what its declaration does by a check of its own, which the library does not see."""

    def schema2jsonschema(self, schema: Any) -> dict[str, Any]:
        """Return the description of an object."""
        described: dict[str, Any] = super().schema2jsonschema(schema)  # type: ignore[no-untyped-call]
        return described | ({"additionalProperties": False} if isinstance(schema, Block) else {})


class Declarations(MarshmallowPlugin):
    """Describes objects by their declarations."""

    Converter = Converter
