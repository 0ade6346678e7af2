"""Whether a guideline's and a protocol's figures make sense together. No figure is prescribed here, only their order."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from heartlevel.ruling.source import Origin, Path_, RuleFault, Written, mapping

RAISED = ("office", "home", "ambulatory-day", "ambulatory-night", "ambulatory-24h")
ANEW = "write `categories` anew too; lists are replaced whole"


def senseless_limits(written: Written) -> Iterator[RuleFault]:
    """Yield what cannot be meant in a guideline's limits and categories."""
    file, path, item = written
    limits, at = item["limits"], (*path, "limits")
    severe, low = limits["severe"], limits["low"]
    yield from _systolic_above_diastolic(file, (*at, "severe"), severe)
    yield from _systolic_above_diastolic(file, (*at, "low"), low)
    for name in RAISED:
        raised = (limits.get(name) or {}).get("hypertension") or {}
        here = (*at, name, "hypertension")
        yield from _systolic_above_diastolic(file, here, raised)
        yield from _below(file, ((*at, "low"), "low", low), (here, f"{name} hypertension", raised))
        yield from _below(file, (here, f"{name} hypertension", raised), ((*at, "severe"), "severe", severe))
    for setting, categories in item["categories"].items():
        yield from _rising(file, (*path, "categories", setting), categories)
        yield from _not_a_category(file, (*at, setting, "hypertension"), limits[setting]["hypertension"], categories)


def unmoved_categories(below: Sequence[Written], laid: Sequence[Written]) -> Iterator[RuleFault]:
    """Yield where a layer moves the beginning of hypertension and leaves the categories, onto another one's beginning.

    Otherwise a category called hypertension would be left below the new limit. Items may be unchecked.
    """
    before = {mapping(item).get("id"): item for _, _, item in below}
    for file, path, item in laid:
        old = mapping(before.get(mapping(item).get("id")))
        for setting, categories in mapping(mapping(item).get("categories")).items():
            was, raised = (_hypertension(one, setting) for one in (old, item))
            if was in ({}, raised) or mapping(old.get("categories")).get(setting) != categories:
                continue
            if any(mapping(mapping(one).get("from")) == raised for one in _listed(categories)):
                detail = f"hypertension begins at {_pair(raised)} now, but the {setting} categories stay as they were"
                yield file.fault((*path, "limits", setting, "hypertension"), "limits-order", detail, ANEW)


def _hypertension(guideline: object, setting: str) -> dict[str, Any]:
    return mapping(mapping(mapping(mapping(guideline).get("limits")).get(setting)).get("hypertension"))


def _listed(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _pair(raised: Mapping[str, Any]) -> str:
    return "/".join(f"{raised[name]:g}" for name in ("systolic", "diastolic") if raised.get(name) is not None)


def senseless_schedule(written: Written) -> Iterator[RuleFault]:
    """Yield what cannot be meant in a protocol's schedule."""
    file, path, item = written
    home, at = item["home"], (*path, "home")
    for part in ("morning", "evening"):
        if item[part]["from_hour"] >= item[part]["before_hour"]:
            yield file.fault((*path, part), "limits-order", f"the {part} ends before it begins")
    for part in ("day", "night"):
        if item["ambulatory"][part]["from_hour"] >= item["ambulatory"][part]["before_hour"]:
            yield file.fault((*path, "ambulatory", part), "limits-order", f"the {part} ends before it begins")
    if home["minimum_days"] > home["days"]:
        yield file.fault((*at, "minimum_days"), "limits-order", "more days needed than are to be measured")
    if home["discard_first_days"] >= home["minimum_days"]:
        yield file.fault((*at, "discard_first_days"), "limits-order", "all days that are needed would be discarded")
    for name, most in _at_most(home).items():
        if home[name] > most:
            detail = f"{home[name]:g} readings needed, but the schedule gives at most {most:g}"
            yield file.fault((*at, name), "limits-order", detail)
    yield from _senseless_steps(file, (*path, "device_check", "procedure"), item["device_check"]["procedure"])


def _senseless_steps(file: Origin, at: Path_, steps: Mapping[str, Any]) -> Iterator[RuleFault]:
    order, within = steps["order"], (steps["usable_within"], steps["doubtful_within"])
    first = order.index("reference") if "reference" in order else len(order)
    if first == 0 or order[first + 1 : first + 2] != ["device"]:
        detail = "the first reading of the reference does not stand between two of the device"
        yield file.fault((*at, "order"), "limits-order", detail)
    if within[0] > within[1]:
        detail = f"usable within {within[0]:g}, but doubtful only within {within[1]:g}"
        yield file.fault((*at, "usable_within"), "limits-order", detail)


def _at_most(home: Mapping[str, Any]) -> dict[str, float]:
    """Return how many readings a schedule gives, before and after what it discards."""
    sittings, kept = home["sittings_per_day"], home["readings_per_sitting"]
    return {
        "minimum_recorded": home["days"] * sittings * (kept + home["discard_first_readings"]),
        "minimum_kept": (home["days"] - home["discard_first_days"]) * sittings * kept,
    }


def _systolic_above_diastolic(file: Origin, at: Path_, pair: Mapping[str, Any]) -> Iterator[RuleFault]:
    systolic, diastolic = pair.get("systolic"), pair.get("diastolic")
    if systolic is not None and diastolic is not None and systolic <= diastolic:
        detail = f"systolic {systolic:g} is not above diastolic {diastolic:g}"
        yield file.fault((*at, "systolic"), "limits-order", detail)


Pair = tuple[Path_, str, Mapping[str, Any]]  # where it stands, what it is called, its pressures


def _below(file: Origin, lower: Pair, higher: Pair) -> Iterator[RuleFault]:
    for pressure in ("systolic", "diastolic"):
        below, above = lower[2].get(pressure), higher[2].get(pressure)
        if below is not None and above is not None and below >= above:
            detail = f"{lower[1]} {pressure} {below:g} is not below {higher[1]} {pressure} {above:g}"
            places = [file.fault((*path, pressure), "limits-order", detail) for path, _, _ in (higher, lower)]
            # Of the two, a layer's figure is the one to look at.
            yield min(places, key=lambda one: one.file == file.name)


def _not_a_category(
    file: Origin, at: Path_, raised: Mapping[str, Any], categories: Sequence[Mapping[str, Any]]
) -> Iterator[RuleFault]:
    """Yield where hypertension begins at a limit at which no category does: finding and category would disagree."""
    if all(one.get("from") != raised for one in categories):
        yield file.fault(at, "limits-order", f"hypertension begins at {_pair(raised)}, but no category does", ANEW)


def _rising(file: Origin, at: Path_, categories: Sequence[Mapping[str, Any]]) -> Iterator[RuleFault]:
    for pressure in ("systolic", "diastolic"):
        reached = [(place, (one.get("from") or {}).get(pressure)) for place, one in enumerate(categories)]
        stated = [(place, limit) for place, limit in reached if limit is not None]
        for (_, before), (place, after) in zip(stated, stated[1:], strict=False):
            if after <= before:
                detail = f"{categories[place]['id']} begins at {pressure} {after:g}, not above the {before:g} before it"
                yield file.fault((*at, place), "categories-order", detail)
