"""The bytes of Blood Pressure Measurement (0x2A35) and Blood Pressure Feature (0x2A49).

Bluetooth SIG, Blood Pressure Service 1.1 and GATT Specification Supplement; SFLOAT is the 16-bit float of IEEE 11073-20601.
Both from memory, held against several public decoders. Every number stands with its lowest byte first.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

KPA_UNIT, TIME_STAMP, PULSE, USER, STATUS = (1 << bit for bit in range(5))  # flags
LENGTHS = {TIME_STAMP: 7, PULSE: 2, USER: 1, STATUS: 2}  # bytes, in this order
PRESSURES = ("systolic", "diastolic", "mean_arterial")
PRESSURES_FROM, SFLOAT_BYTES = 1, 2
ALWAYS = PRESSURES_FROM + SFLOAT_BYTES * len(PRESSURES)
SPECIAL = {0x07FE: "+INFINITY", 0x07FF: "NaN", 0x0800: "NRes", 0x0801: "a reserved value", 0x0802: "-INFINITY"}
NOBODY_KNOWN = 0xFF
# Of each detail of the status: the bits that say it, and the number of the feature's bit that says the device can tell.
STATUS_BITS = {
    "body_movement": (0b1, 0), "cuff_loose": (0b10, 1), "irregular_pulse": (0b100, 2), "pulse_out_of_range": (0b11000, 3),
    "position_improper": (0b100000, 4),
}  # fmt: skip


@dataclass(slots=True)
class Measurement:
    """What the bytes hold; None for what is not there, is cut off, or has no value."""

    announced: int  # bytes, by the flags
    kilopascals: bool = False
    values: dict[str, float] = field(default_factory=dict)  # pressures and pulse
    special: dict[str, str] = field(default_factory=dict)  # by the same names: what stands in the place of a number
    taken_at: str | None = None  # by the device's clock, which has no offset
    user: int | None = None
    status: int | None = None


def sfloat(number: int) -> float | str:
    """Return what 16 bits are: a signed mantissa of 12 and a signed decimal exponent of 4, or a special value's name."""
    if number in SPECIAL:
        return SPECIAL[number]
    mantissa, exponent = number & 0x0FFF, number >> 12
    mantissa -= (mantissa & 0x0800) << 1
    exponent -= (exponent & 0x8) << 1
    return float(f"{mantissa}e{exponent}")


def measurement_in(content: bytes) -> Measurement:
    """Read a measurement; whatever is whole of one that was cut off."""
    flags = content[0] if content else 0
    measured = Measurement(announced_length(flags), bool(flags & KPA_UNIT))
    for number, name in enumerate(PRESSURES):
        _take_number(measured, name, content, PRESSURES_FROM + SFLOAT_BYTES * number)
    for part, at in _parts(flags):
        piece = content[at : at + LENGTHS[part]]
        if len(piece) < LENGTHS[part]:
            continue
        if part == TIME_STAMP:
            measured.taken_at = _time(piece)
        elif part == PULSE:
            _take_number(measured, "pulse", content, at)
        elif part == USER:
            measured.user = None if piece[0] == NOBODY_KNOWN else piece[0]
        else:
            measured.status = int.from_bytes(piece, "little")
    return measured


def announced_length(flags: int) -> int:
    """Return how many bytes a measurement with these flags has."""
    return ALWAYS + sum(length for part, length in LENGTHS.items() if flags & part)


def details_of(status: int, feature: int | None) -> dict[str, bool]:
    """Return what the status says. A clear bit is no only from a device that can tell."""
    details = {}
    for name, (bits, able) in STATUS_BITS.items():
        if status & bits:
            details[name] = True
        elif feature is not None and feature >> able & 1:
            details[name] = False
    return details


def _parts(flags: int) -> Iterator[tuple[int, int]]:
    """Yield the parts that the flags announce, and where each begins."""
    at = ALWAYS
    for part, length in LENGTHS.items():
        if flags & part:
            yield part, at
            at += length


def _take_number(measured: Measurement, name: str, content: bytes, at: int) -> None:
    piece = content[at : at + SFLOAT_BYTES]
    if len(piece) < SFLOAT_BYTES:
        return
    number = sfloat(int.from_bytes(piece, "little"))
    if isinstance(number, str):
        measured.special[name] = number
    else:
        measured.values[name] = number


def _time(piece: bytes) -> str | None:
    """Return the time as it is written; None where the year, month or day is not known, which is sent as 0."""
    year = int.from_bytes(piece[:2], "little")
    month, day, hour, minute, second = piece[2:]
    if 0 in (year, month, day):
        return None
    return f"{year:04d}-{month:02d}-{day:02d}T{hour:02d}:{minute:02d}:{second:02d}"
