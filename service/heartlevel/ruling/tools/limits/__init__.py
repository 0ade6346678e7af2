"""Limits and categories of guidelines as a table: written for reading and for spreadsheets, and read back as changes."""
