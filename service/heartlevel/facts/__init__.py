"""Derived numbers: one named function a fact, over columns."""

# Importing the modules enters their facts into the catalogue.
from heartlevel.facts import device, reading, series, sitting

__all__ = ["device", "reading", "series", "sitting"]
