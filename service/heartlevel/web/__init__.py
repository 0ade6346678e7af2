"""The HTTP service: the only package that imports Flask."""
