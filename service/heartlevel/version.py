"""The service's version; the rules have a revision of their own."""

VERSION = "0.1.0"
