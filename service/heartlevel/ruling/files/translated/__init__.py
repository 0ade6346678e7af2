"""Translations held against their originals: which are missing, older, copied or unrecorded, and what they show."""
