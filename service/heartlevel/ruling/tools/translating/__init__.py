"""Translations as files for translators: what is still to be done, written beside its original, and taken back."""
