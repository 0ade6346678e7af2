"""What is to be read: files, globs, folders and standard input."""

from collections.abc import Sequence
from glob import glob
from pathlib import Path
from typing import IO

from heartlevel.bulk.inputs.input import Input, RequestFormat
from heartlevel.bulk.inputs.opening import beginning, decompressed, spooled
from heartlevel.bulk.inputs.registry import ENDINGS, INPUT_FORMATS, ending_of, format_by_content, format_of
from heartlevel.bulk.wrong_call import WrongCall

STANDARD_INPUT = "-"


def inputs_of(
    arguments: Sequence[str], standard: IO[bytes], forced: str | None, mapped: bool, written: Sequence[Path | None]
) -> list[Input]:
    """Return the inputs named, folders and globs in the order of their paths, without the files and folders `written` to.

    `forced` names the format of all; else each is of the one its ending, or content, says. Raises WrongCall for a name
    that stands for nothing.
    """
    left_out = {path.resolve() for path in written if path is not None}
    format_of_all = INPUT_FORMATS[forced] if forced else None
    inputs = list[Input]()
    for argument in arguments:
        if argument == STANDARD_INPUT:
            inputs.append(_standard_input(standard, forced, mapped))
            continue
        paths = [path for path in _paths(argument) if left_out.isdisjoint([path.resolve(), *path.resolve().parents])]
        if not paths:
            raise WrongCall(f"{argument}: nothing to read there besides what is written")
        inputs += [Input(str(path), format_of_all or format_of(path, mapped), path) for path in paths]
    return inputs


def _paths(argument: str) -> list[Path]:
    path = Path(argument)
    if path.is_dir():
        return sorted(inner for inner in path.rglob("*") if ending_of(inner) in ENDINGS and inner.is_file())
    if path.exists():
        return [path]
    matching = sorted(map(Path, glob(argument, recursive=True)))  # noqa: PTH207 (takes absolute patterns too)
    files = [path for path in matching if path.is_file()]
    if not files:
        raise WrongCall(f"{argument}: no such file, folder or glob")
    return files


def _standard_input(stream: IO[bytes], forced: str | None, mapped: bool) -> Input:
    """Tables are looked at before they are read, so they are kept in a temporary file meanwhile."""
    file = decompressed(stream)
    known = INPUT_FORMATS[forced] if forced else format_by_content(beginning(file), mapped)
    return Input("<stdin>", known, None if isinstance(known, RequestFormat) else spooled(file), file)
