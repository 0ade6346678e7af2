"""Numbers that stand in texts, held against the thresholds of the rules whose texts they are."""
