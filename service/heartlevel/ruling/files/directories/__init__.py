"""Directories of rule files: which files are taken, which are passed over with a word, and how one is read."""
