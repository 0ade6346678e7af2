"""Sentences with places for facts and limits: `{cuff_width_to_arm:percent}`, `{limit:severe.systolic}`."""

from collections.abc import Iterator, Mapping
from string import Formatter

from heartlevel.facts.catalogue import Fact

STYLES = ("", "percent")
NOT_RECORDED = "not recorded"


class TemplateFault(Exception):
    """A sentence whose places cannot be filled."""


class Template:
    """A sentence, taken apart once."""

    def __init__(self, text: str, facts: Mapping[str, Fact], limits: frozenset[str]) -> None:
        """Check every place. Raises TemplateFault with the name that is no fact or limit."""
        try:
            self._parts = [(before, name, style or "") for before, name, style, _ in Formatter().parse(text)]
        except ValueError as error:
            raise TemplateFault(str(error)) from error
        for _, name, style in self._parts:
            if name is None or (name == "limit" and style in limits):
                continue
            if name not in facts or style not in STYLES:
                raise TemplateFault(f"limit:{style}" if name == "limit" else f"{name}:{style}".rstrip(":"))

    def facts(self) -> Iterator[str]:
        """Yield the names of the facts the sentence shows."""
        return (name for _, name, _ in self._parts if name is not None and name != "limit")

    def filled(self, facts: Mapping[str, object], limits: Mapping[str, float]) -> str:
        """Return the sentence with its places filled; numbers to at most one decimal."""
        whole = []
        for before, name, style in self._parts:
            whole.append(before)
            if name is not None:
                whole.append(_shown(limits[style], "") if name == "limit" else _shown(facts.get(name), style))
        return "".join(whole)


def _shown(value: object, style: str) -> str:
    if value is None:
        return NOT_RECORDED
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, (int, float)):
        return str(value)
    if style == "percent":
        return f"{100 * value:.0f} %"
    return f"{round(value, 1) + 0.0:g}"
