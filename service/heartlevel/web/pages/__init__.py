"""Routes that answer with pages for people."""
