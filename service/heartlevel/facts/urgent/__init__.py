"""Facts of what may need help: readings that were lost, and symptoms."""
