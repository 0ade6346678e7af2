"""What several of these tests need of the system."""

import pytest


@pytest.fixture(scope="session")
def pango():
    """Skips what prints where the system's library is not there, and nothing else."""
    try:
        import weasyprint  # noqa: F401
    except OSError as missing:
        pytest.skip(f"no library Pango on this machine, reports were not printed: {missing}")
