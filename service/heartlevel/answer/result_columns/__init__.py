"""What columns of result tables are, and those of what readings and devices were measured by."""
