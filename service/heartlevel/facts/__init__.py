"""Derived numbers: one named function a fact, over columns."""

# Importing the modules enters their facts into the catalogue.
from heartlevel.facts import comparison, device, digits, reading, series, sitting, standing

__all__ = ["comparison", "device", "digits", "reading", "series", "sitting", "standing"]
