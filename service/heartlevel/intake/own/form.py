"""The form of a request: the declared fields and, beside them, the facts of one's own that the rules in force declare.

Those of a reading stand in its `technique`, those of a subject or a device in it.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from heartlevel.intake import recorded
from heartlevel.intake.blocks.typed import reader_of
from heartlevel.intake.fields import Block, Part
from heartlevel.intake.own.facts import DEVICE, READING, SUBJECT, OwnFact
from heartlevel.intake.recorded import Recorded, recorded_in
from heartlevel.intake.schema import LISTS, ONE_OF, Device, Envelope, Reading, Subject, Technique
from heartlevel.intake.screening import Screen

TECHNIQUE = "technique"


class Form:
    """What a request may hold, with what reads it. Copied to another process it is made anew from its own facts."""

    def __init__(self, own: tuple[OwnFact, ...] = ()) -> None:
        """Lay facts of one's own beside the declared fields; without any, the declarations are used as they are."""
        self.own = own
        subject, technique, device = (
            _with_facts(block, [fact for fact in own if fact.recorded_with == kind])
            for block, kind in ((Subject, SUBJECT), (Technique, READING), (Device, DEVICE))
        )
        reading = _with_part(Reading, TECHNIQUE, technique)
        self.subject, self.reading, self.device = subject(), reading(), device()
        self.envelope = _with_part(Envelope, "subject", subject)()
        lists = {name: block() for name, block in LISTS.items()}
        self.lists: Mapping[str, Block] = lists | {"devices": self.device, "readings": self.reading}
        self.screen = Screen(self.envelope)
        self.screens = {name: Screen(block) for name, block in self.lists.items()}
        read_whole = {name: reader_of(block) for name, block in self.lists.items() if name not in ONE_OF}
        self.readers = {name: reader for name, reader in read_whole.items() if reader}
        self._lay_columns()

    def _lay_columns(self) -> None:
        of_subjects, of_readings, of_devices = map(self._recorded, (self.subject, self.reading, self.device))
        self.subject_facts, self.reading_facts = recorded.SUBJECT + of_subjects, recorded.READING + of_readings
        # The columns of a batch: these facts, and what others are derived from.
        self.of_subjects, self.of_readings = recorded.OF_SUBJECTS + of_subjects, recorded.OF_READINGS + of_readings
        self.of_devices = recorded.OF_DEVICES + of_devices
        self.of_technique = tuple(field.fact for field in self.of_readings if field.path[0] == TECHNIQUE)

    def _recorded(self, block: Block) -> tuple[Recorded, ...]:
        names = {fact.name for fact in self.own}
        return tuple(field for field in recorded_in(block) if field.fact in names) if names else ()

    def __reduce__(self) -> tuple[Any, ...]:
        """Name what it is made of."""
        return form_of, (self.own,)


@lru_cache(maxsize=16)
def form_of(own: tuple[OwnFact, ...]) -> Form:
    """Return the form with these facts of one's own."""
    return Form(own)


def _with_facts(block: type[Block], own: list[OwnFact]) -> type[Any]:
    return block.from_dict({fact.name: fact.field() for fact in own}, name=block.__name__) if own else block


def _with_part(block: type[Block], name: str, inner: type[Any]) -> type[Any]:
    """Return a declaration whose object of that name is declared otherwise."""
    declared = block().fields[name]
    assert isinstance(declared, Part)
    if type(declared.schema) is inner:
        return block
    part = Part(inner, required=declared.required, allow_none=declared.allow_none, metadata=declared.metadata)
    return block.from_dict({name: part}, name=block.__name__)


PLAIN_FORM = form_of(())
