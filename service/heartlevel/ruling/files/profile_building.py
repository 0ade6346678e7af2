"""From entries of rule files to guidelines, protocols and what is usual, as they are used."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import sqrt
from typing import Any

from heartlevel.intake.recorded import symptom_bits
from heartlevel.profiles import (
    UNPUBLISHED,
    Category,
    Guideline,
    Ladder,
    Protocol,
    SizeOfFaults,
    SurenessLimits,
    UsualAmbulatory,
    UsualAtHome,
    UsualErrors,
    UsualInOffice,
    UsualSpread,
)
from heartlevel.ruling.files.followup.targets import targets_of
from heartlevel.ruling.language.faults import Entry, RuleFault
from heartlevel.vocabulary import EFFECTS, URGENCY_LEVELS

NEVER = float("inf")
LIMIT_ONLY = ("office-unattended", "ambulatory-24h", "ambulatory-day", "ambulatory-night")
NONE = (0.0, 0.0)  # systolic and diastolic


def lowest_not_first(guideline: Entry) -> Iterator[RuleFault]:
    """Yield a fault for each setting in which another category than the first, or none, is the one without a `from`."""
    for setting, categories in guideline.item["categories"].items():
        if [index for index, category in enumerate(categories) if not category.get("from")] != [0]:
            detail = "the first category, and only it, has no `from`"
            yield guideline.fault(("categories", setting), "categories-order", detail)


def guideline_of(item: Mapping[str, Any]) -> Guideline:
    """Return a guideline of its content."""
    plain = {name: item[name] for name in ("adults_from_years", "after_birth_days")}
    return Guideline(
        id=item["id"],
        short_name=item["short_name"],
        adults_from_years=item["adults_from_years"],
        in_pregnancy=item["in_pregnancy"],
        after_birth_days=item["after_birth_days"],
        protocol=item["protocol"],
        limits=_flat(plain | item["limits"]),
        categories=_of_limits(item["limits"])
        | {setting: _categories(categories) for setting, categories in item["categories"].items()},
        written=item,
        targets=targets_of(item),
    )


def protocol_of(item: Mapping[str, Any]) -> Protocol:
    """Return a protocol of its content."""
    return Protocol(
        id=item["id"],
        title=item["title"],
        limits=_flat({name: value for name, value in item.items() if name != "year"}, "protocol."),
        office_use=item["office"]["use"],
        check_order=tuple(item["device_check"]["procedure"]["order"]),
        written=item,
    )


def ladder_of(item: Mapping[str, Any]) -> Ladder:
    """Return how urgent things are, of the content of its file."""
    level, older, past = URGENCY_LEVELS.index, item["older"], item["history"]
    repeat, lone = item["lower_repeat"], item["lone_ambulatory"]
    return Ladder(
        older_after_days=older["after_days"],
        older=(level(older["level"]), level(older["in_maternity"])),
        history_after_days=(past["after_days"], past["in_maternity_after_days"]),
        answered_after_days=past["answered_after_days"],
        without_symptoms=level(item["without_symptoms"]),
        repeat_after_minutes=repeat["after_minutes"],
        after_lower_repeat=level(repeat["level"]),
        lone_readings=lone["readings"],
        lone_among=lone["among"],
        believed_up_to=_both(item["believed_up_to"]),
        symptoms={
            beside: tuple((level(tier), int(symptom_bits(names) or 0)) for tier, names in tiers.items())
            for beside, tiers in item["symptoms"].items()
        },
        written=item,
    )


def usual_at_home(head: Mapping[str, Any]) -> UsualAtHome | None:
    """Return what is usual of home readings; None where the rule set's head does not say it."""
    usual = head.get("usual_at_home")
    if not usual:
        return None
    spread = _spread(usual, "sd_between_days") if usual.get("sd_between_days") else None
    return UsualAtHome(_both(usual["first_day"]), _errors(usual), spread, usual)


def usual_in_office(head: Mapping[str, Any]) -> UsualInOffice | None:
    """Return what is usual of office visits; None where the rule set's head does not say it."""
    usual = head.get("usual_in_office")
    if not usual:
        return None
    above = usual.get("above_home")
    return UsualInOffice(_spread(usual, "sd_between_visits"), _errors(usual),
                         (_both(above["mean"]), _both(above["sd"])) if above else None, usual)  # fmt: skip


def usual_ambulatory(head: Mapping[str, Any]) -> UsualAmbulatory | None:
    """Return how ambulatory sessions usually differ; None where the rule set's head does not say it."""
    usual = head.get("usual_ambulatory")
    if not usual:
        return None
    session = _spread(usual, "sd_between_sessions")
    return UsualAmbulatory(replace(session, sd=NONE, week_sd=session.sd), usual)


def sureness_limits(head: Mapping[str, Any]) -> SurenessLimits:
    """Return from which probabilities on what is called probable and almost certain."""
    limits = head.get("sureness")
    if not limits:
        return SurenessLimits()
    return SurenessLimits(limits["almost_certain"], limits["probable"], limits["unknown_error_share"],
                          limits.get("probable_patterns"), limits)  # fmt: skip


def _spread(usual: Mapping[str, Any], of_days: str) -> UsualSpread:
    """Return a spread as Student's t has it: of variances with ν degrees of freedom the mean is ν / (ν − 2) times that."""
    degrees, weeks = usual["degrees_of_freedom"], usual.get("sd_between_weeks")
    scale = sqrt((degrees - 2) / degrees)
    return UsualSpread(
        _scaled(_both(usual[of_days]), scale), degrees, usual.get("pressure_correlation") or 0.0,
        usual.get("day_correlation") or 0.0, _scaled(_both(weeks), scale) if weeks else NONE,
    )  # fmt: skip


def _scaled(pressures: tuple[float, float], scale: float) -> tuple[float, float]:
    return scale * pressures[0], scale * pressures[1]


def _errors(usual: Mapping[str, Any]) -> UsualErrors:
    technique, device = (_both(usual[name]) if usual.get(name) else NONE for name in ("technique", "device"))
    return UsualErrors(technique, usual.get("share_width") or 0.0, device)


def size_of_faults(head: Mapping[str, Any]) -> SizeOfFaults:
    """Return what faults of no published size count for; nothing where the rule set's head does not say it."""
    sizes = head.get("size_of_faults") or {}
    return SizeOfFaults({name: float(sizes.get(name, 0)) for name in EFFECTS}, sizes)


def _both(pressures: Mapping[str, float]) -> tuple[float, float]:
    return pressures["systolic"], pressures["diastolic"]


def _categories(items: Sequence[Mapping[str, Any]]) -> tuple[Category, ...]:
    lowest = {"systolic": -NEVER, "diastolic": -NEVER}
    begins = [item.get("from") or lowest for item in items]
    return tuple(
        Category(item["id"], item["title"], *(_begins(begin.get(name)) for name in ("systolic", "diastolic")))
        for item, begin in zip(items, begins, strict=True)
    )


def _begins(limit: float | None) -> float:
    return NEVER if limit is None else limit


def _of_limits(limits: Mapping[str, Any]) -> dict[str, tuple[Category, ...]]:
    """Return the two categories of each method of which nothing but the limit of hypertension is published."""
    published = {name: limits[name]["hypertension"] for name in LIMIT_ONLY}
    return {
        name: _categories([{"id": "below-threshold", "title": "Below the threshold"},
                           {"id": "hypertension", "title": "Hypertension", "from": level}])
        for name, level in published.items() if set(level.values()) != {None}
    }  # fmt: skip


def _flat(limits: Mapping[str, Any], prefix: str = "") -> dict[str, float]:
    """Return the numbers of nested mappings under dotted names; null is a limit that is not published."""
    flat: dict[str, float] = {}
    for name, value in limits.items():
        if isinstance(value, Mapping):
            flat |= _flat(value, f"{prefix}{name}.")
        elif value is None or isinstance(value, (int, float)):
            flat[f"{prefix}{name}"] = UNPUBLISHED if value is None else float(value)
    return flat
