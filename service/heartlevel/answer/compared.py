"""What other guidelines make of the same readings, and where they disagree with the one asked for."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from heartlevel.intake.request import Request

COMPARED = ("raised", "pattern", "urgent")
CLASSIFICATION_SHOWN = ("side", "setting", "systolic", "diastolic", "category", "title", "raised", "holds")


def under_others(request: Request) -> list[Request]:
    """Return the request as it would be under each of the other guidelines it names."""
    return [replace(request, guideline=guideline, also_under=()) for guideline in request.also_under]


def other_guidelines(answer: Mapping[str, Any], others: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return what each of the other answers comes to, and in what it differs from the answer asked for.

    Categories bear other names in each guideline, so what is compared is whether the average reaches the guideline's
    limit of hypertension, how home and office compare, and whether anything is urgent.
    """
    asked = _essence(answer)
    return [
        {**other, "disagrees_in": [name for name in COMPARED if asked[name] != other[name]]}
        for other in map(_essence, others)
    ]


def _essence(answer: Mapping[str, Any]) -> dict[str, Any]:
    made_with, classified = answer["made_with"], answer["classification"]
    return {
        **{name: made_with[name] for name in ("guideline", "limits_from", "protocol")},
        **{name: classified.get(name) for name in CLASSIFICATION_SHOWN},
        "pattern": answer["pattern"]["label"],
        "urgent": answer["urgent"],
    }
