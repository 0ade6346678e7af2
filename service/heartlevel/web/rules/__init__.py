"""The rules in force: their replacement, candidates tried, and the documents that tell of them."""
