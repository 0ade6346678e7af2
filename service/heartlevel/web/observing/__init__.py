"""What is told of the service while it runs: log, counters, traces, audit; ids and numbers of things, never a reading."""
