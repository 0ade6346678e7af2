"""Averages, uncertainty, variability, agreement, classification: arithmetic over columns."""
