"""The file on urgency: what it may hold, and what a layer may not make less urgent."""
