"""Inputs: what is named, its format, and the texts or rows in it."""
