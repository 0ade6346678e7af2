"""A fact of one's own: recorded in requests and tables like a shipped field, declared by rule files."""

from dataclasses import dataclass
from math import inf
from typing import Any

from marshmallow import fields

from heartlevel.intake.fields import choice, flag, number
from heartlevel.vocabulary import RECORDED_WITH

READING, SUBJECT, DEVICE = RECORDED_WITH


@dataclass(frozen=True, slots=True)
class OwnFact:
    """What rule files declare of a fact; of a number its unit (UCUM) and limits, both included, of a choice its names."""

    name: str
    recorded_with: str  # one of RECORDED_WITH
    kind: str  # one of FACT_KINDS
    meaning: str
    unit: str | None = None
    names: tuple[str, ...] = ()
    low: float = -inf
    high: float = inf

    @property
    def scope(self) -> str:
        """The scope whose rules may compare it: what is recorded of a device is known of its readings."""
        return SUBJECT if self.recorded_with == SUBJECT else READING

    def field(self) -> fields.Field[Any]:
        """Return the field of a request that it is recorded in."""
        if self.kind == "number":
            return number(self.meaning, self.unit or "1", self.low, self.high, fact=self.name)
        if self.kind == "choice":
            return choice(self.names, self.meaning, fact=self.name)
        return flag(self.meaning, fact=self.name)
