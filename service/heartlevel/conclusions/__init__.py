"""What may be said of each person of a batch: decided here, once, and only written down after that."""
