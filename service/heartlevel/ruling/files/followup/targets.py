"""A guideline's targets of treatment, as its file holds them and as they are used."""

from collections.abc import Iterator, Mapping, Sequence
from math import inf
from typing import Any

from heartlevel.intake.fields import Block, Choice, Items, about, part
from heartlevel.profiles import Target, TargetLimits
from heartlevel.ruling.files.fields import choice, number
from heartlevel.ruling.files.schema import NEEDED, SOURCES
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.vocabulary import MMHG, TARGET_COMPARATORS, TARGET_EXCEPTIONS

TARGETED = ("office", "home")
EVERYONE = (0.0, inf)


class FloorBlock(Block):
    """Pressures that treatment is not to go below."""

    systolic = number("systolic pressure", MMHG, 0, 400)
    diastolic = number("diastolic pressure", MMHG, 0, 400)


class TargetLimitsBlock(Block):
    """A target in one setting; both pressures are to attain it, as far as there is one of each."""

    systolic = number("systolic target", MMHG, 0, 400)
    diastolic = number("diastolic target", MMHG, 0, 400)
    comparator = choice(TARGET_COMPARATORS, "whether the target itself attains it", **NEEDED)
    not_below = part(FloorBlock, "the lower end of a target that is a range")


class TargetBlock(Block):
    """A target for people of some ages. Without limits it is each person's own."""

    from_years = number("from this age", "a", 0, 130)
    below_years = number("below this age", "a", 0, 130)
    office = part(TargetLimitsBlock, "in the office")
    home = part(TargetLimitsBlock, "at home")
    exceptions = Items(Choice(TARGET_EXCEPTIONS, exact=True), 20, **about("whom it may not hold for"))
    sources = SOURCES


def targets_of(item: Mapping[str, Any]) -> tuple[Target, ...]:
    """Return a guideline's targets, youngest first."""
    return tuple(map(_target, item.get("targets") or ()))


def _target(written: Mapping[str, Any]) -> Target:
    from_years, below_years = _ages(written)
    return Target(
        from_years=from_years,
        below_years=below_years,
        limits={setting: target_limits(written[setting]) for setting in TARGETED if written.get(setting)},
        exceptions=tuple(written.get("exceptions") or ()),
        sources=tuple((source["cite"], source["standing"]) for source in written["sources"]),
    )


def _ages(written: Mapping[str, Any]) -> tuple[float, float]:
    return _or(written.get("from_years"), EVERYONE[0]), _or(written.get("below_years"), EVERYONE[1])


def target_limits(written: Mapping[str, Any]) -> TargetLimits:
    """Return the limits of a target as a file holds them."""
    floor = written.get("not_below") or {}
    return TargetLimits(
        systolic=_or(written.get("systolic"), inf),
        diastolic=_or(written.get("diastolic"), inf),
        comparator=written.get("comparator") or TARGET_COMPARATORS[0],
        lowest_systolic=_or(floor.get("systolic"), -inf),
        lowest_diastolic=_or(floor.get("diastolic"), -inf),
    )


def _or(limit: float | None, none: float) -> float:
    return none if limit is None else limit


def senseless_targets(guideline: Entry) -> Iterator[RuleFault]:
    """Yield a fault for targets whose ages leave a gap, overlap or do not rise, and for one that is no target."""
    written: Sequence[Mapping[str, Any]] = guideline.item.get("targets") or ()
    reached = EVERYONE[0]
    for index, target in enumerate(written):
        begins, ends = _ages(target)
        if begins != reached or ends <= begins:
            yield guideline.fault(("targets", index), "limits-order", "ages of targets follow one another without a gap")
        reached = ends
        for setting in TARGETED:
            if target.get(setting) and not _can_be_attained(target_limits(target[setting])):
                yield guideline.fault(("targets", index, setting), "limits-order", "no pressure attains this target")
    if written and reached != EVERYONE[1]:
        yield guideline.fault(("targets", len(written) - 1), "limits-order", "the last target has no upper age")


def _can_be_attained(limits: TargetLimits) -> bool:
    given = min(limits.systolic, limits.diastolic) < inf
    return given and limits.lowest_systolic < limits.systolic and limits.lowest_diastolic < limits.diastolic
