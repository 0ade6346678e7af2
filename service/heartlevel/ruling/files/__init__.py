"""From rule files to a rule set: read with the place of everything, checked against declarations, layers laid over them.

May import: language.
"""
