"""Where the shipped rule files and the contract lie: inside an installed package, or beside a checkout."""

from importlib.resources import files
from pathlib import Path


def shipped(folder: str) -> Path:
    """Return the directory of shipped data (`rules`, `openapi`) of this installation."""
    package = Path(str(files("heartlevel")))
    installed = package / folder
    return installed if installed.is_dir() else package.parents[1] / folder
