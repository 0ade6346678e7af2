"""Tools for those who write rules: analysis, differences between rule sets, one layout of files, texts still missing.

May import: language, files, running.
"""
