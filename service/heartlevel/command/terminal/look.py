"""How text looks in a terminal: its width, and colour where somebody can see it."""

import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from textwrap import fill
from typing import IO, Any

import click

USUAL_WIDTH, NARROWEST, WIDEST = 100, 40, 100
INDENT = "      "


@dataclass(frozen=True, slots=True)
class Look:
    """A width in characters, and whether colour may be used. Without more it is that of a file."""

    width: int = USUAL_WIDTH
    colour: bool = False

    def wrapped(self, line: str, **style: Any) -> str:
        """Break a line to the width, styled as `click.style` takes it where colour may be used."""
        return self.styled(fill(line, self.width, subsequent_indent=INDENT), **style)

    def styled(self, text: str, **style: Any) -> str:
        """Return a text with its style, line by line; without colour as it is."""
        if not (self.colour and style):
            return text
        return "\n".join(click.style(line, **style) for line in text.split("\n"))


def look_of(stream: IO[Any], environment: Mapping[str, str] = os.environ) -> Look:
    """Return how to write to a stream: in colour only to a terminal, and not where NO_COLOR is set (no-color.org).

    The width is that of the terminal, or COLUMNS.
    """
    columns = shutil.get_terminal_size((USUAL_WIDTH, 24)).columns
    colour = stream.isatty() and not environment.get("NO_COLOR") and environment.get("TERM") != "dumb"
    return Look(min(max(columns, NARROWEST), WIDEST), colour)
