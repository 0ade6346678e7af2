"""A run: parts judged by processes, and written in their order."""
