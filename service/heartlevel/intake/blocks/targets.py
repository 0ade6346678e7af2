"""A target of treatment, as a request holds it."""

from heartlevel.intake.fields import Block, choice, number, part
from heartlevel.vocabulary import MMHG, TARGET_COMPARATORS


class TargetPressuresBlock(Block):
    """A target in one setting."""

    systolic = number("systolic target", MMHG, 60, 250)
    diastolic = number("diastolic target", MMHG, 30, 150)


class TargetAskedBlock(Block):
    """The person's own target of treatment; it takes the place of the guideline's."""

    home = part(TargetPressuresBlock, "at home")
    office = part(TargetPressuresBlock, "in the office")
    comparator = choice(TARGET_COMPARATORS, "whether the target itself attains it; `below` where absent")
