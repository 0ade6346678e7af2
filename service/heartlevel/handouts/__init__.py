"""What is handed to the person measured: the log to fill in, and the sheet on how it went and what to change."""
