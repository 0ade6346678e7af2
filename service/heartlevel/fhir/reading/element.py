"""A part of a resource and the FHIRPath to it. A part that is not there, or is of another kind, is just empty."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from heartlevel.intake.texts.json_text import each_value

NOTHING: dict[str, Any] = {}


@dataclass(frozen=True, slots=True)
class Element:
    """A JSON value that stands somewhere in what was sent."""

    value: Any
    at: str  # FHIRPath, of names and indices only

    @property
    def content(self) -> dict[str, Any]:
        """The object that it is, or an empty one."""
        return self.value if isinstance(self.value, dict) else NOTHING

    @property
    def text(self) -> str | None:
        """The text that it is."""
        return self.value if isinstance(self.value, str) and self.value else None

    @property
    def kind(self) -> str | None:
        """The resource type."""
        return self.part("resourceType").text

    def part(self, name: str) -> "Element":
        """Return an element of it that occurs once."""
        return Element(self.content.get(name), f"{self.at}.{name}")

    def choice(self, name: str) -> "Element":
        """Return an element that may have several types, such as `value[x]`, whatever its type."""
        typed = (
            value
            for key, value in self.content.items()
            if key.startswith(name) and key[len(name) : len(name) + 1].isupper()
        )
        return Element(next(typed, None), f"{self.at}.{name}")

    def each(self, name: str) -> Iterator["Element"]:
        """Yield each of an element that may repeat; an object without its list is one."""
        listed = self.content.get(name)
        if isinstance(listed, dict):
            yield Element(listed, f"{self.at}.{name}")
        for index, item in enumerate(listed if isinstance(listed, list) else ()):
            yield Element(item, f"{self.at}.{name}[{index}]")

    def versions(self) -> Iterator["Element"]:
        """Yield what it may be, each at its place: itself or, where its name stands twice in its object, each value."""
        for value in each_value(self.value):
            yield Element(value, self.at)

    def codings(self) -> Iterator[tuple[str, str]]:
        """Yield system and code of each coding of a CodeableConcept, or of the Coding or code that it is."""
        if isinstance(self.value, str):
            yield "", self.value
        for coding in self.each("coding"):
            if coding.part("code").text:
                yield coding.part("system").text or "", str(coding.part("code").text)
        if self.part("code").text:
            yield self.part("system").text or "", str(self.part("code").text)

    def has_code(self, system: str, code: str) -> bool:
        """Tell whether it is a concept with a code."""
        return (system, code) in self.codings()

    def extensions(self, url: str) -> Iterator["Element"]:
        """Yield its extensions of an address."""
        return (extension for extension in self.each("extension") if extension.part("url").text == url)

    def name(self, system: str) -> "Element":
        """Return what a resource is called: its identifier of a system, or else its id."""
        identified = (item.part("value") for item in self.each("identifier") if item.part("system").text == system)
        return next(identified, self.part("id"))
