"""Output formats: what is written of the subjects of a part, and what the files become at the end."""
