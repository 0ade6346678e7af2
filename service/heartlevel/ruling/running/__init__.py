"""Rules at work: truth tables from the engine, verdicts on columns of facts, the examples written beside rules.

May import: language.
"""
