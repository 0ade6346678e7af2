"""Columns as Arrow has them: made of NumPy arrays, of texts, of pandas tables."""
