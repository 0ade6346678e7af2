"""Tables of readings, wherever they come from: Arrow columns in, the batches out that requests give."""
