"""A rule's thresholds under names of their own: read, held against the facts they are compared with, and against its texts."""
