"""Texts of requests, as they come: read as far as they can be."""
