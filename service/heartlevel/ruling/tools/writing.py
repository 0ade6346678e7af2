"""Examples written into the file of their rule, after those that are there, in the one layout."""

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any

import yaml

from heartlevel.ruling.files.source import LOADER
from heartlevel.ruling.language.faults import KeyPath, Position
from heartlevel.ruling.language.rules import Example, Rule
from heartlevel.ruling.tools.commented import NotFormatted

FIELDS = ("given", "findings", "guideline", "protocol", "expect")


def example_written(example: Example) -> str:
    """Return an example as it stands in a rule file, on one line."""
    fields = {name: getattr(example, name) for name in FIELDS}
    kept = {name: dict(value) if name == "given" else value for name, value in fields.items() if value or name == "given"}
    kept |= {"findings": list(kept["findings"])} if "findings" in kept else {}
    return yaml.safe_dump(kept, default_flow_style=True, sort_keys=False, width=inf).strip()


def last_example(rule: Rule) -> Position:
    """Return where the last example of a rule is written."""
    return rule.entry.origin.position((*rule.entry.path, "examples", len(rule.examples) - 1))


def with_examples(text: str, added: Mapping[Position, Sequence[Example]]) -> str:
    """Return a file's text with examples added, by the position of the example that they follow.

    Raises NotFormatted where they could not be added in this way, as in a list in brackets.
    """
    lines = text.splitlines()
    for position in sorted(added, key=lambda position: position.line, reverse=True):
        indent = position.column - len("- ") - 1
        end = _end_of_item(lines, position.line, indent)
        lines[end:end] = [f"{' ' * indent}- {example_written(example)}" for example in added[position]]
    written = "\n".join(lines) + "\n"
    wanted = sum(map(len, added.values()))
    if not _is_extended(text, written, wanted):
        first = min(position.line for position in added)
        raise NotFormatted(first, "its examples are no list of a line each; add them by hand")
    return written


def _end_of_item(lines: Sequence[str], start: int, indent: int) -> int:
    """Return the number of lines up to the end of a list's item that begins on a line, counted from 1."""
    end = start
    for number in range(start, len(lines)):
        line = lines[number]
        if line.strip() and len(line) - len(line.lstrip()) <= indent:
            break
        end = number + 1 if line.strip() else end
    return end


def _is_extended(before: str, after: str, count: int) -> bool:
    """Say whether a text holds the same as another and `count` items more, at the ends of lists of examples."""
    try:
        extended = dict(_items(yaml.load(after, LOADER), ()))  # noqa: S506 - a SafeLoader
    except yaml.YAMLError:
        return False
    known = dict(_items(yaml.load(before, LOADER), ()))  # noqa: S506 - a SafeLoader
    more = {path: item for path, item in extended.items() if path not in known}
    same = all(extended.get(path, extended) == item for path, item in known.items())
    return same and len({path[: path.index("examples") + 2] for path in more if "examples" in path}) == count


def _items(data: Any, path: KeyPath) -> list[tuple[KeyPath, Any]]:
    """Return every single value with its path."""
    if isinstance(data, dict):
        return [entry for key, value in data.items() for entry in _items(value, (*path, key))]
    if isinstance(data, list):
        return [entry for index, value in enumerate(data) for entry in _items(value, (*path, index))]
    return [(path, data)]
