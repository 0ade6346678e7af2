"""Bodies of requests and answers, compressed or not."""
