"""A subject's rows decoded: the request they make, and the cells that its parts come from."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Any, TypeAlias

from heartlevel.columns import Ints
from heartlevel.intake.decoding import Decoded
from heartlevel.tables.cells import Cells, cell_value, rows_of, time_in
from heartlevel.tables.devices import nameless
from heartlevel.tables.fields import DEVICE, FIELDS, READING, SUBJECT, TableField
from heartlevel.tables.meanings import Layout, Mapped

NO_SUBJECT = "no-subject", "the row names no subject"
ROWS_DIFFER = "rows-differ", "an earlier row of this subject, or device, says otherwise; the earlier one was taken"


@dataclass(frozen=True, slots=True)
class CellOrigin:
    """A cell of a table, or a row of it where no column is named."""

    input: int  # number of the table
    line: int  # or number of the row
    column: str | None = None


SubjectRow: TypeAlias = tuple[CellOrigin, Sequence[Any]]  # where a row stands, and its cells


@dataclass(frozen=True, slots=True)
class DecodedRows(Decoded[CellOrigin]):
    """A request made of rows. `differing` are cells that say something else than an earlier row of the same subject,
    or device; the earlier one is in the request."""  # fmt: skip

    differing: Sequence[CellOrigin] = ()


@dataclass(frozen=True, slots=True)
class _Entry:
    """What a row says of a field, and where; no column is named where the mapping says it of all rows."""

    field: TableField
    value: Any
    at: CellOrigin


@dataclass(slots=True)
class _Parts:
    """The request while rows are added to it."""

    subject: dict[str, Any] = field(default_factory=dict)
    options: dict[str, Any] = field(default_factory=dict)
    devices: dict[str, tuple[int, dict[str, Any]]] = field(default_factory=dict)
    readings: list[dict[str, Any]] = field(default_factory=list)
    origins: dict[str, CellOrigin] = field(default_factory=dict)
    differing: list[CellOrigin] = field(default_factory=list)

    def add(self, row: SubjectRow, layout: Layout, mapped: Mapped) -> None:
        """Add a row."""
        at, cells = row
        self.origins |= reading_origins(len(self.readings), at, layout)
        reading, details = dict[str, Any](), list[_Entry]()
        for entry in _values_in(at, cells, layout, mapped):
            if entry.field.part == READING:
                _put(reading, entry.field.path, entry.value)
            elif entry.field.part == DEVICE:
                details.append(entry)
            else:
                self._keep(self.subject if entry.field.part == SUBJECT else self.options, f"/{entry.field.part}", entry)
        self._add_device(reading, details, CellOrigin(at.input, at.line, layout.name_of(DEVICE)))
        self.readings.append(reading)

    def _add_device(self, reading: dict[str, Any], details: Sequence[_Entry], at: CellOrigin) -> None:
        """Add what a row says of its device, which is named by that where the table does not name it."""
        if DEVICE not in reading and not details:
            return
        name = reading.setdefault(DEVICE, _name_by(details))
        number, device = self.devices.setdefault(str(name), (len(self.devices), {"id": name}))
        self.origins.setdefault(f"/devices/{number}", at)
        for entry in details:
            self._keep(device, f"/devices/{number}", entry)

    def _keep(self, whole: dict[str, Any], pointer: str, entry: _Entry) -> None:
        """Take over what is new; what was said otherwise before stays, and the cell is noted."""
        before = _put(whole, entry.field.path, entry.value)
        if before is None:
            self.origins[pointer + entry.field.pointer] = entry.at
        elif not _alike(before, entry.value):
            self.differing.append(entry.at)

    def decoded(self) -> DecodedRows:
        """Return the request."""
        devices = [device for _, device in self.devices.values()]
        request = {"subject": self.subject, "devices": devices, "readings": self.readings, "options": self.options}
        return DecodedRows(request, self.origins, differing=self.differing)


def decoded_rows(rows: Sequence[SubjectRow], layouts: Mapping[int, Layout], mapped: Mapped) -> DecodedRows:
    """Return the request that all rows of a subject make, with what its fields cannot take in it as it is."""
    parts = _Parts(origins={"": rows[0][0]})
    for row in rows:
        parts.add(row, layouts[row[0].input], mapped)
    return parts.decoded()


def rows_alone(cells: Sequence[Cells], rows: Ints, layout: Layout, mapped: Mapped) -> list[dict[str, Any]]:
    """Return what each of some rows says by itself, as a request of no more than its reading."""
    requests = []
    for row in rows_of(cells, rows) if len(rows) else ():
        reading: dict[str, Any] = {}
        for entry in _values_in(CellOrigin(0, 0), row, layout, mapped):
            if entry.field.part == READING:
                _put(reading, entry.field.path, entry.value)
        requests.append({"readings": [reading]})
    return requests


def reading_origins(number: int, at: CellOrigin, layout: Layout) -> dict[str, CellOrigin]:
    """Return where a row's reading, the one of that number, stands, and each of its fields that has a column."""
    whole = f"/readings/{number}"
    origins = {whole: at}
    for name, meaning in zip(layout.names, layout.meanings, strict=True):
        if meaning and meaning.field.part == READING:
            origins.setdefault(whole + meaning.field.pointer, CellOrigin(at.input, at.line, name))
    return origins


def _values_in(at: CellOrigin, cells: Sequence[Any], layout: Layout, mapped: Mapped) -> Iterator[_Entry]:
    """Yield what a row says of each field; where several columns say something of one, the last of them counts."""
    known = {name: _Entry(mapped.fields[name], value, at) for name, value in mapped.fixed.items() if value is not None}
    times = []
    for cell, name, meaning in zip(cells, layout.names, layout.meanings, strict=True):
        value = cell_value(cell, meaning, mapped.decimal) if meaning else None
        if meaning is None or value is None:
            continue
        if meaning.to == "taken_at":
            times.append(str(value))
        else:
            known[meaning.to] = _Entry(meaning.field, value, CellOrigin(at.input, at.line, name))
    if times:
        known["taken_at"] = _Entry(FIELDS["taken_at"], time_in(" ".join(times), mapped.time_format), at)
    yield from known.values()


def _put(whole: dict[str, Any], path: Sequence[str], value: Any) -> Any:
    """Put a value at a path unless there is one; return the one that is there already."""
    *outer, last = path
    for key in outer:
        whole = whole.setdefault(key, {})
    if (before := whole.get(last)) is None:
        whole[last] = value
    return before


def _alike(first: Any, second: Any) -> bool:
    return bool(first == second) and isinstance(first, bool) == isinstance(second, bool)


def _name_by(details: Sequence[_Entry]) -> str:
    """Return a name made of what is said of a device; whole numbers count as others: tables write them in either way."""
    whole: dict[str, Any] = {}
    for entry in details:
        number = isinstance(entry.value, int) and not isinstance(entry.value, bool)
        _put(whole, entry.field.path, float(entry.value) if number else entry.value)
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return nameless(blake2b(text.encode("utf-8", "surrogatepass"), digest_size=6).hexdigest())
