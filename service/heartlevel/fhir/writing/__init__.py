"""From an assessed subject to a Bundle."""
