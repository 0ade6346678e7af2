"""Layers that tests lay over the shipped rules."""

from pathlib import Path

import pytest

from heartlevel import RuleFaults, Rules
from heartlevel.ruling.files.loading import load
from heartlevel.ruling.language.ruleset import RuleSet


def layer(folder: Path, *changes: str, own: str = "", name: str = "Clinic", more: str = "") -> Path:
    top = folder / "clinic"
    (top / "reading").mkdir(parents=True)
    listed = "".join(f"  - {change}\n" for change in changes)
    (top / "layer.yaml").write_text(f'name: {name}\nrevision: "1"\n{more}' + (f"changes:\n{listed}" if changes else ""))
    if own:
        (top / "reading" / "own.yaml").write_text(own)
    return top


def rules_of(*folders: Path) -> RuleSet:
    return load(None, folders)


def refused(folder: Path) -> list[str]:
    with pytest.raises(RuleFaults) as caught:
        Rules.load(None, (folder,))
    return [str(fault) for fault in caught.value.faults]
