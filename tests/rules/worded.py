"""The shipped rules and their texts."""

from support import rules

RULES = {rule.id: rule for rule in rules().ruleset.every_rule()}
WORDED = {language: one.written["rules"] for language, one in rules().ruleset.wording.items()}
CLINICIAN, ALL = ("title", "explanation", "advice"), ("title", "explanation", "advice", "patient")
