"""What callers may rely on: the kinds of problem, and how long what is deprecated stays."""
