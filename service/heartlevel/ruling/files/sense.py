"""Whether a guideline's and a protocol's figures make sense together. No figure is prescribed here, only their order."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault

RAISED = ("office", "office-unattended", "home", "ambulatory-day", "ambulatory-night", "ambulatory-24h")
ANEW = "write `categories` anew too; lists are replaced whole"
Pair: TypeAlias = tuple[KeyPath, str, Mapping[str, Any]]  # its path in the guideline, what it is called, its pressures


def senseless_limits(guideline: Entry) -> Iterator[RuleFault]:
    """Yield what cannot be meant in a guideline's limits and categories."""
    limits = guideline.item["limits"]
    severe, low = ((("limits", name), name, limits[name]) for name in ("severe", "low"))
    yield from _systolic_above_diastolic(guideline, severe)
    yield from _systolic_above_diastolic(guideline, low)
    for name in RAISED:
        level = mapping(limits, name, "hypertension")
        raised = (("limits", name, "hypertension"), f"{name} hypertension", level)
        yield from _systolic_above_diastolic(guideline, raised)
        yield from _below(guideline, low, raised)
        yield from _below(guideline, raised, severe)
    for setting, categories in guideline.item["categories"].items():
        yield from _rising(guideline, ("categories", setting), categories)
        begin = limits[setting]["hypertension"]
        if all(category.get("from") != begin for category in categories):  # finding and category would disagree
            detail = f"hypertension begins at {_pair(begin)}, but no category does"
            yield guideline.fault(("limits", setting, "hypertension"), "limits-order", detail, ANEW)


def unmoved_categories(below: Sequence[Entry], laid: Sequence[Entry]) -> Iterator[RuleFault]:
    """Yield where a layer moves the limit of hypertension to where another category begins, and leaves the categories.

    A category called hypertension would then begin below the limit. Items may be unchecked.
    """
    before = {str(mapping(item).get("id")): mapping(item) for _, _, item in below}
    for entry in laid:
        item = mapping(entry.item)
        old = before.get(str(item.get("id")), {})
        for setting, categories in mapping(item, "categories").items():
            was, raised = (mapping(guideline, "limits", setting, "hypertension") for guideline in (old, item))
            if was in ({}, raised) or mapping(old, "categories").get(setting) != categories:
                continue
            listed = categories if isinstance(categories, list) else []
            if any(mapping(category, "from") == raised for category in listed):
                detail = f"hypertension begins at {_pair(raised)} now, but the {setting} categories stay as they were"
                yield entry.fault(("limits", setting, "hypertension"), "limits-order", detail, ANEW)


def _pair(raised: Mapping[str, Any]) -> str:
    return "/".join(f"{raised[name]:g}" for name in ("systolic", "diastolic") if raised.get(name) is not None)


def senseless_schedule(protocol: Entry) -> Iterator[RuleFault]:
    """Yield what cannot be meant in a protocol's schedule."""

    def fault(at: KeyPath, detail: str) -> RuleFault:
        return protocol.fault(at, "limits-order", detail)

    item, home = protocol.item, protocol.item["home"]
    hours: dict[KeyPath, Mapping[str, Any]] = {(part,): item[part] for part in ("morning", "evening")}
    hours |= {("ambulatory", part): item["ambulatory"][part] for part in ("day", "night")}
    for at, part in hours.items():
        if part["from_hour"] >= part["before_hour"]:
            yield fault(at, f"the {at[-1]} ends before it begins")
    if _overlap(item["morning"], item["evening"]):
        yield fault(("evening", "from_hour"), "morning and evening overlap")
    if home["minimum_days"] > home["days"]:
        yield fault(("home", "minimum_days"), "more days needed than are to be measured")
    if home["discard_first_days"] >= home["minimum_days"]:
        yield fault(("home", "discard_first_days"), "all days that are needed would be discarded")
    for name, most in _at_most(home).items():
        if home[name] > most:
            yield fault(("home", name), f"{home[name]:g} readings needed, but the schedule gives at most {most:g}")
    yield from _senseless_steps(protocol)


def _overlap(first: Mapping[str, float], second: Mapping[str, float]) -> bool:
    return max(first["from_hour"], second["from_hour"]) < min(first["before_hour"], second["before_hour"])


def _senseless_steps(protocol: Entry) -> Iterator[RuleFault]:
    """Yield what cannot be meant in how a device is checked in steps."""
    item = protocol.item
    steps, at_steps = item["device_check"]["procedure"], ("device_check", "procedure")
    order, usable, doubtful = steps["order"], steps["usable_within"], steps["doubtful_within"]
    first = order.index("reference") if "reference" in order else len(order)
    if first == 0 or order[first + 1 : first + 2] != ["device"]:
        detail = "the first reading of the reference does not stand between two of the device"
        yield protocol.fault((*at_steps, "order"), "limits-order", detail)
    if usable > doubtful:
        detail = f"usable within {usable:g}, but doubtful only within {doubtful:g}"
        yield protocol.fault(
            (*at_steps, "usable_within"), "limits-order", f"usable within {usable:g}, but doubtful only within {doubtful:g}"
        )


def _at_most(home: Mapping[str, Any]) -> dict[str, float]:
    """Return how many readings a schedule gives, before and after what it discards."""
    sittings, kept = home["sittings_per_day"], home["readings_per_sitting"]
    return {
        "minimum_recorded": home["days"] * sittings * (kept + home["discard_first_readings"]),
        "minimum_kept": (home["days"] - home["discard_first_days"]) * sittings * kept,
    }


def _systolic_above_diastolic(guideline: Entry, pair: Pair) -> Iterator[RuleFault]:
    path, _, pressures = pair
    systolic, diastolic = pressures.get("systolic"), pressures.get("diastolic")
    if systolic is not None and diastolic is not None and systolic <= diastolic:
        detail = f"systolic {systolic:g} is not above diastolic {diastolic:g}"
        yield guideline.fault((*path, "systolic"), "limits-order", detail)


def _below(guideline: Entry, lower: Pair, higher: Pair) -> Iterator[RuleFault]:
    for pressure in ("systolic", "diastolic"):
        below, above = lower[2].get(pressure), higher[2].get(pressure)
        if below is not None and above is not None and below >= above:
            detail = f"{lower[1]} {pressure} {below:g} is not below {higher[1]} {pressure} {above:g}"
            faults = [guideline.fault((*path, pressure), "limits-order", detail) for path, _, _ in (higher, lower)]
            # Of the two, a layer's figure is the one to look at.
            yield min(faults, key=lambda fault: fault.file == guideline.origin.name)


def _rising(guideline: Entry, at: KeyPath, categories: Sequence[Mapping[str, Any]]) -> Iterator[RuleFault]:
    for pressure in ("systolic", "diastolic"):
        begins = [(index, mapping(category.get("from")).get(pressure)) for index, category in enumerate(categories)]
        stated = [(index, limit) for index, limit in begins if limit is not None]
        for (_, before), (index, after) in zip(stated, stated[1:], strict=False):
            if after <= before:
                detail = f"{categories[index]['id']} begins at {pressure} {after:g}, not above the {before:g} before it"
                yield guideline.fault((*at, index), "categories-order", detail)
