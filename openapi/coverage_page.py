"""rules/COVERAGE.md, made from the list of what the clinical reference says and what answers to it."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

ROWS = Path(__file__).parent.parent / "tests" / "coverage" / "rows.yaml"
KINDS = {"rule": "rules", "fact": "facts", "guideline": "guidelines", "protocol": "protocols", "test": "tests"}
HEAD = """\
# What the clinical reference says, and what answers to it

Each row is a statement of the clinical reference behind these rules, with its published source ("from memory" where it
was not looked up again). What is not covered, or not wholly, is said with the reason. Made by `openapi/generate.py`
from `tests/coverage/rows.yaml`; a test holds every name to what exists.
"""


def sections() -> list[dict[str, Any]]:
    """Return the sections with their rows."""
    listed: list[dict[str, Any]] = yaml.safe_load(ROWS.read_text("utf-8"))
    return listed


def coverage_page() -> str:
    """Return the page."""
    return "\n".join([HEAD, *(line for section in sections() for line in _table(section))])


def _table(section: dict[str, Any]) -> Iterator[str]:
    yield from (f"## {section['section']}", "", "| says | source | answered by | not covered |", "|---|---|---|---|")
    for row in section["rows"]:
        cells = (row["row"], row["source"], _names(row.get("by", [])), row.get("lacks", ""))
        yield f"| {' | '.join(cells)} |"
    yield ""


def _names(named: list[str]) -> str:
    """Write names kind by kind: `rules a, b; facts c`."""
    by_kind: dict[str, list[str]] = {}
    for kind_and_name in named:
        kind, _, name = kind_and_name.partition(":")
        by_kind.setdefault(KINDS[kind], []).append(f"`{name}`")
    return "; ".join(f"{kind} {', '.join(names)}" for kind, names in by_kind.items())
