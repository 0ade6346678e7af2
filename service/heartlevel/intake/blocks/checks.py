"""Device checks, as a request holds them."""

from heartlevel.intake.fields import Block, Items, Part, about, choice, number, part, text
from heartlevel.vocabulary import CHECKED_BY, HIGHEST_READABLE, MMHG, TRUE_PRESSURES


class Pressures(Block):
    """A pair of pressures in mm[Hg]."""

    systolic = number("systolic pressure", MMHG, 1, HIGHEST_READABLE, required=True)
    diastolic = number("diastolic pressure", MMHG, 0, HIGHEST_READABLE, required=True)


class Pair(Block):
    """The device's reading beside the reference's, taken next to each other."""

    device = part(Pressures, "the device being checked", required=True)
    reference = part(Pressures, "the reference device", required=True)
    occasion = text("the person or visit it belongs to, where several pairs do; such pairs do not count as independent")


class InTurn(Pressures):
    """One reading of a stepwise check."""

    by = choice(CHECKED_BY, "the device being checked, or the reference device", required=True)


class DeviceCheck(Block):
    """A person's device held against the office's: either `pairs` or `sequence`, and never both."""

    device = text("id of one of the request's devices", required=True)
    reference_device = text("the caller's name for the reference")
    true_pressure = choice(TRUE_PRESSURES, "within an occasion; changing where absent")
    pairs = Items(Part(Pair), 1000, **about("the comparisons, in any order"))
    sequence = Items(Part(InTurn), 100, **about(
        "the readings of the protocol's stepwise check on one arm, in the order in which they were taken"))  # fmt: skip
