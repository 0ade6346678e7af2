"""What a file of facts may hold: facts that are recorded beside the shipped ones, declared once."""

from re import compile as pattern
from typing import Any

from heartlevel.intake.fields import Block, Items, Number, Text, about, text
from heartlevel.ruling.files.fields import Name, choice
from heartlevel.ruling.files.schema import NEEDED, SOURCES
from heartlevel.vocabulary import FACT_KINDS, RECORDED_WITH

SNAKE_CASE = pattern(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
FARTHEST = 1_000_000.0  # from 0 that a number of one's own may lie


class FactName(Text):
    """A fact's name: small letters, digits and single underscores between them."""

    default_error_messages = {"name": "not-a-fact-name"}  # noqa: RUF012

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> str:
        written = super()._deserialize(value, attr, data, **more)
        if not SNAKE_CASE.fullmatch(written):
            raise self.make_error("name")
        return written


class FactBlock(Block):
    """A fact of one's own: what is recorded with each reading, of the subject, or of a device."""

    name = FactName(60, **about("its name in requests, tables and conditions, such as after_hot_bath", **NEEDED))
    recorded_with = choice(RECORDED_WITH, "what it is recorded of: a reading has it in `technique`", **NEEDED)
    kind = choice(FACT_KINDS, "what its value is", **NEEDED)
    unit = text("UCUM code of a number's unit; 1 for none", 40)
    range = Items(Number(-FARTHEST, FARTHEST, exact=True), 2, least=2, **about("lowest and highest a number may be"))
    values = Items(Name(60), 60, least=2, **about("the names a choice is out of"))
    meaning = text("what it tells, in a few words", 200, **NEEDED)
    sources = SOURCES
