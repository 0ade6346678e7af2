"""Derived numbers: one named function a fact, over columns."""

# Importing the modules enters their facts into the catalogue.
from heartlevel.facts import (
    ambulatory,
    comparison,
    device,
    digits,
    fitness,
    followup,
    groups,
    reading,
    series,
    sides,
    sitting,
    standing,
)
from heartlevel.facts.urgent import lost, symptoms

__all__ = [
    "ambulatory", "comparison", "device", "digits", "fitness", "followup", "groups", "lost",
    "reading", "series", "sides", "sitting", "standing", "symptoms",
]  # fmt: skip
