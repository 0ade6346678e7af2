"""Rules loaded and compiled in a process of their own, so that a running service never stands still or falls for it."""
