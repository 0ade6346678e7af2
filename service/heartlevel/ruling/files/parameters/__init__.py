"""Thresholds of rules under names of their own: read, and held against what they are compared with and against texts."""
