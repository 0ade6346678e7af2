"""Rule files written in one step: whoever reads them meanwhile sees the old text or the new one, never a part."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import NamedTemporaryFile


@contextmanager
def replacement(path: Path, text: str) -> Iterator[Path]:
    """Yield a file beside `path` that holds a text; it takes that one's place if nothing is raised, else it is gone."""
    # Not `.yaml`: whoever loads the directory meanwhile must not see it.
    with NamedTemporaryFile("wb", dir=path.parent, prefix=f".{path.name}-", suffix=".new", delete=False) as new:
        try:
            new.write(text.encode("utf-8"))
            new.flush()
            os.fsync(new.fileno())
            yield Path(new.name)
            if path.exists():
                shutil.copymode(path, new.name)
            else:
                Path(new.name).chmod(0o644)
            Path(new.name).replace(path)
        finally:
            Path(new.name).unlink(missing_ok=True)
