"""What was decided, without data: a line for each assessed subject, and the file that keeps them."""
