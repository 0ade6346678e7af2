"""The columns of tables: what a file says they mean, and how they are understood."""
