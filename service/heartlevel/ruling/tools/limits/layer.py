"""The file of a layer that makes the changes of an edited table."""

from collections.abc import Mapping
from typing import Any

import yaml

from heartlevel.ruling.files.layering.declared import LayerBlock
from heartlevel.ruling.tools.editors import first_line, schemas_of_files
from heartlevel.ruling.tools.formatting import formatted


def layer_file(changes: Mapping[str, Mapping[str, Any]], name: str, revision: str, reason: str) -> str:
    """Return the text of a layer's own file; `changes` are what is set of each guideline."""
    listed = [
        {"of": "guideline", "id": guideline, "set": fields, "reason": reason} for guideline, fields in changes.items()
    ]
    head = {"name": name, "revision": revision, "changes": listed}
    written = yaml.safe_dump(head, allow_unicode=True, sort_keys=False, width=10_000)
    return first_line(schemas_of_files()["layer"]) + formatted(written, LayerBlock())
