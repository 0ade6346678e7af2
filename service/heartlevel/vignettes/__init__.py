"""Whole patients as tests: requests with what must come of them, judged together and held against their answers."""
