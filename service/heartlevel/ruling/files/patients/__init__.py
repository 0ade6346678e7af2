"""Whole patients as tests of rules: what their files may hold, and how they are read."""
