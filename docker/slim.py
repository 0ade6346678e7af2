"""Takes out of an environment what the service never loads, and names what it took: `slim.py SITE_PACKAGES`.

Other packages' test suites, sources in C and declarations for type checkers; and all of SciPy but its special functions
and what those load. The build has the service answer afterwards, or fails.
"""

import sys
from pathlib import Path
from shutil import rmtree

# Parts of packages, by their folder in site-packages. scipy.special alone is used, and loads linalg and none of these.
PARTS = {
    "scipy": ("cluster", "constants", "datasets", "differentiate", "fft", "fftpack", "integrate", "interpolate", "io",
              "ndimage", "odr", "optimize", "signal", "sparse", "spatial", "stats"),
    "gevent": ("testing", "tests"),
}  # fmt: skip
SUITES = ("tests", "testsuite")  # a folder of this name, in a package that is not one of ours
OURS = "heartlevel"
FOR_BUILDING = ("*.c", "*.cpp", "*.h", "*.hpp", "*.pxd", "*.pyx", "*.pyi", "*.a")


def superfluous(packages: Path) -> list[Path]:
    """Return the folders and files to take out, each once."""
    parts = [packages / name / part for name, several in PARTS.items() for part in several]
    suites = [path for name in SUITES for path in packages.rglob(name) if path.is_dir()]
    folders = {path for path in [*parts, *suites] if path.is_dir() and OURS not in path.relative_to(packages).parts}
    sources = [path for pattern in FOR_BUILDING for path in packages.rglob(pattern)
               if OURS not in path.relative_to(packages).parts]  # fmt: skip
    return sorted(folders) + sorted(path for path in sources if not folders & set(path.parents))


def main(packages: Path) -> None:
    """Take it out; the sizes are told in whole MB."""
    before = _size(packages)
    for path in superfluous(packages):
        if path.is_dir():
            sys.stdout.write(f"taken out: {path.relative_to(packages)}\n")
            rmtree(path)
        elif path.exists():
            path.unlink()
    sys.stdout.write(f"{before / 1e6:.0f} MB -> {_size(packages) / 1e6:.0f} MB\n")


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
