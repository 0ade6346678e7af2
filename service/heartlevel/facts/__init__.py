"""Derived numbers: one named function a fact, over columns."""

# Importing the modules enters their facts into the catalogue.
from heartlevel.facts import (
    ambulatory,
    comparison,
    device,
    digits,
    followup,
    groups,
    lost,
    reading,
    series,
    sitting,
    standing,
)

__all__ = [
    "ambulatory",
    "comparison",
    "device",
    "digits",
    "followup",
    "groups",
    "lost",
    "reading",
    "series",
    "sitting",
    "standing",
]
