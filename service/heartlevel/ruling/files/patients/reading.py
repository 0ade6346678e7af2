"""The files of patients in a folder, read with their places. They stand beside the rules and decide nothing."""

from pathlib import Path

from heartlevel.ruling.files.content import PATIENTS, is_valid
from heartlevel.ruling.files.directories.listing import listing_of
from heartlevel.ruling.files.patients.declared import PatientBlock
from heartlevel.ruling.files.source import SourceFile, repeated_names, source_file
from heartlevel.ruling.language.faults import Entry, RuleFault


def patients_below(folder: Path, faults: list[RuleFault], layered: bool = False) -> list[Entry]:
    """Read the patients of a directory of rules or a layer; mistakes are added to `faults`, and those patients left out."""
    prefix = f"{folder.name}/" if layered else ""
    read = list[Entry]()
    for inside, path in listing_of(folder).files.items():
        if inside.partition("/")[0] == PATIENTS:
            read += _entries(source_file(path, prefix + inside, layered), faults)
    return read


def _entries(file: SourceFile, faults: list[RuleFault]) -> list[Entry]:
    faults += file.faults
    if not isinstance(file.data, list):
        if not file.faults:
            faults.append(file.origin.fault((), "not-a-list", "a file of patients is a list of patients"))
        return []
    entries = [Entry(file.origin, (index,), item) for index, item in enumerate(file.data)]
    sound = [entry for entry in entries if is_valid(PatientBlock(), entry, faults)]
    faults += repeated_names(sound, "who")
    return sound
