"""The service's version; the rules have a revision of their own."""

from importlib.resources import files

VERSION = "0.1.0"


def source_revision() -> str:
    """Return the revision of the source that this package was built from, as its builder wrote it, or 'unknown'."""
    recorded = files("heartlevel") / "REVISION"
    return recorded.read_text("ascii").strip() if recorded.is_file() else "unknown"
