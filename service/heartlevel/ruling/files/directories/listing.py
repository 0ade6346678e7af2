"""Which files of a directory are rule files, those in linked folders too, each once; what is passed over is told."""

from dataclasses import dataclass, field
from pathlib import Path
from re import IGNORECASE
from re import compile as pattern
from stat import S_ISDIR

from heartlevel.ruling.language.faults import RuleFault

ENDING = pattern(r"\.ya?ml$", IGNORECASE)
MISNAMED = pattern(r"\.ya?ml\.txt$", IGNORECASE)  # meant to be a rule file
BESIDE = (".md", ".ndjson")  # pages and patients, which lie beside rules
MOST_NAMES = 10_000
PASSED_OVER = {
    pattern(r"\.\."): "it is a mounted volume's own; its files are read by the links to them",
    pattern(r"\."): "it is hidden; editors and systems keep such files beside others",
    pattern(r".*~$|#.*#$|.*\.sw[op]$"): "it is an editor's copy",
}


@dataclass(slots=True)
class Listing:
    """The rule files of a directory by their names inside it, words on what was passed over, and what is at fault."""

    prefix: str = ""  # before the names in words and faults
    files: dict[str, Path] = field(default_factory=dict)
    passed_over: list[str] = field(default_factory=list)
    faults: list[RuleFault] = field(default_factory=list)
    names: int = 0  # seen so far

    def pass_over(self, inside: str, why: str) -> None:
        """Say that a name is passed over."""
        self.passed_over.append(f"{self.prefix}{inside} is passed over: {why}")

    def refuse(self, inside: str, code: str, detail: str, hint: str | None = None) -> None:
        """Say that a name is at fault."""
        self.faults.append(RuleFault(self.prefix + inside, 1, 1, code, detail, hint))


def plain_ending(name: str) -> str:
    """Return a rule file's name as if its ending were written .yaml."""
    return ENDING.sub(".yaml", name)


def listing_of(folder: Path, prefix: str = "") -> Listing:
    """Return what lies in a directory; nothing where there is none. No file is opened."""
    listing = Listing(prefix)
    if folder.is_dir():
        _look_into(folder, "", (), listing)
    return listing


def top_in(folder: Path, top: str) -> Path | None:
    """Return the file at a directory's top that has a name, whatever its ending is written like; None if none has."""
    if not folder.is_dir():
        return None
    return next((path for path in sorted(folder.iterdir()) if plain_ending(path.name) == top), None)


def _look_into(folder: Path, inside: str, above: tuple[tuple[int, int], ...], listing: Listing) -> None:
    """List a folder. `above` are the identities of the folders that it was come to by."""
    try:
        status, paths = folder.stat(), sorted(folder.iterdir())
    except OSError as error:
        return listing.refuse(inside, "unreadable", f"cannot be listed: {error.strerror}")
    identity = (status.st_dev, status.st_ino)
    if identity in above:
        return listing.refuse(inside, "unreadable", "the link leads to a folder that it lies in, and so in a circle")
    for path in paths:
        listing.names += 1
        if listing.names == MOST_NAMES:
            listing.refuse(inside, "too-many", f"there are {MOST_NAMES} names and more; does a link lead to a whole disk?")
        if listing.names < MOST_NAMES:
            _look_at(path, f"{inside}/{path.name}" if inside else path.name, (*above, identity), listing)
    return None


def _look_at(path: Path, inside: str, above: tuple[tuple[int, int], ...], listing: Listing) -> None:
    why = next((why for named, why in PASSED_OVER.items() if named.match(path.name)), None)
    if why is not None:
        listing.pass_over(inside, why)
    elif ENDING.search(path.name):
        listing.files[inside] = path
    elif _is_folder(path):
        _look_into(path, inside, above, listing)
    elif MISNAMED.search(path.name):
        hint = f"rename it to {MISNAMED.sub('.yaml', path.name)}"
        listing.refuse(inside, "wrong-name", "the names of rule files end in .yaml", hint)
    elif not path.name.endswith(BESIDE):
        listing.pass_over(inside, "the names of rule files end in .yaml")


def _is_folder(path: Path) -> bool:
    try:
        return S_ISDIR(path.stat().st_mode)
    except OSError:  # a link to nothing or in a circle, whose name is not that of a rule file
        return False
