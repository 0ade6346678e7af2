"""Periods of one person, what changed between them, and devices held against one another."""
