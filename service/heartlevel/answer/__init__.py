"""What is sent back: one subject's verdicts and statistics as plain data."""
