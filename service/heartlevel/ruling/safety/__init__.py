"""What layers may not do to the rules below them: proved over all facts, or read off their figures and titles.

May import: language, files, running, tools.
"""
