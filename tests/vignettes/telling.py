"""Vignettes as written: `series` are readings a minute apart, day after day; `expect` is the clinician's answer."""

from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import yaml

from heartlevel.ruling.files.source import LOADER
from support import rules_told

FOLDER = Path(__file__).parent
EXPECTABLE = {
    "findings", "absent", "says", "reliability", "reliabilities", "averages", "none_averaged", "category", "reason",
    "setting", "guideline", "pattern", "urgent", "next_steps", "not_next_steps", "first_step", "problems", "holds",
    "verdicts", "coverage", "level", "episodes", "worst", "followed", "advises", "counts",
    "side", "even_so", "unfit", "between", "fit",
    "sureness", "no_probability", "errors_in_it", "sharpened_by", "pattern_sureness", "more_days",
    "periods", "target", "target_because", "change", "cautions", "pulse", "observed", "devices",
}  # fmt: skip


def vignettes() -> list[tuple[str, dict]]:
    """Every vignette, named by its theme and number of writing."""
    return [
        (f"{path.stem}: {one['who']}", one)
        for path in sorted(FOLDER.glob("*.yaml"))
        for one in yaml.load(path.read_text("utf-8"), LOADER)
    ]


def request_of(vignette: dict) -> dict:
    written = dict(vignette["request"])
    readings = [{"setting": "home", **one} for one in written.pop("readings", [])]
    for block in written.pop("series", []):
        readings += _expanded(block)
    options = {"time_zone": "Europe/Oslo", "as_of": "2026-03-31", **written.pop("options", {})}
    return {"readings": readings, "options": options, **written}


def _expanded(block: dict) -> list[dict]:
    """`at` gives each sitting's pressures by its time; `every` what all readings share."""
    first, days, every = block["from"], block.get("days", 1), block.get("every", {})
    readings = []
    for day in range(days):
        for hour, sitting in block["at"].items():
            start = datetime.fromisoformat(f"{first} {hour}") + timedelta(days=day)
            for place, (systolic, diastolic) in enumerate(sitting):
                moment = (start + timedelta(minutes=place)).isoformat()
                pressures = {"systolic": systolic, "diastolic": diastolic}
                readings.append({"taken_at": moment, "setting": "home", **pressures, **every})
    return readings


def found_in(answer: dict) -> dict:
    """What the answer says of everything a vignette may expect, in the vignette's own words."""
    kinds = Counter(one["reliability"] for one in answer["readings"])
    averages = [one for one in answer["averages"] if one["basis"] == "protocol"]
    return {
        "reliability": {one["id"]: one["reliability"] for one in answer["readings"]},
        "reliabilities": dict(kinds),
        "averages": {
            one["setting"]: [one["systolic"]["mean"], one["diastolic"]["mean"], one["readings"]]
            for one in averages if one["readings"]
        },
        "category": answer["classification"]["category"],
        "reason": answer["classification"].get("reason"),
        "setting": answer["classification"].get("setting"),
        "guideline": answer["classification"]["guideline"],
        "holds": answer["classification"].get("holds"),
        "side": answer["classification"].get("side"),
        "even_so": [one["code"] for one in answer["classification"].get("even_so", [])],
        "unfit": {one["side"]: one["codes"] for one in answer["pattern"]["unfit"]},
        "between": answer["pattern"]["between"],
        "fit": {one["side"]: one["fit"] for one in answer["sides"]},
        "sureness": answer["classification"].get("sureness"),
        "no_probability": answer["classification"].get("no_probability"),
        "errors_in_it": [one["code"] for one in answer["classification"].get("errors_in_it", ())],
        "sharpened_by": answer["classification"].get("sharpened_by"),
        "pattern_sureness": answer["pattern"]["sureness"],
        "more_days": answer["what_next"]["more_days"],
        "pattern": answer["pattern"]["label"],
        "urgent": answer["urgent"],
        "first_step": answer["next_steps"][0]["code"] if answer["next_steps"] else None,
        "problems": sorted(one["code"] for one in answer["problems"]),
        "verdicts": [one["verdict"] for one in answer["device_checks"]],
        "coverage": answer["coverage"],
        **urgency_in(answer["urgency"]),
        **followed_up(answer),
        "counts": dict(Counter(one["rule"] for one in answer["findings"])),
    }  # fmt: skip


def urgency_in(urgency: dict) -> dict:
    """The level, the episodes as kind, level and days ago, and of the first its worst value and what followed."""
    episodes = urgency["episodes"]
    worst, after = (episodes[0][part] if episodes else None for part in ("worst", "followed_by"))
    return {
        "level": urgency["level"],
        "episodes": [[one["kind"], one["level"], one["days_ago"]] for one in episodes],
        "worst": [worst["systolic"], worst["diastolic"], episodes[0]["readings"]] if worst else None,
        "followed": [after[part] for part in ("systolic", "diastolic", "minutes", "credited")] if after else None,
    }  # fmt: skip


def followed_up(answer: dict) -> dict:
    """What the answer says of periods, targets, changes, pulse, technique seen and devices."""
    target, change, pulse, seen = (answer[name] for name in ("target", "change", "pulse", "observed_technique"))
    sides = change["sides"] if change else []
    first = target["sides"][0] if target and target["sides"] else {}
    return {
        "periods": len(answer["periods"]),
        "target": target and target["state"],
        "target_because": first.get("because"),
        "change": {one["side"]: one["state"] for one in sides},
        "cautions": sorted({caution["code"] for one in sides for caution in one["cautions"]}),
        "pulse": {one["side"]: one["mean"] for one in pulse["sides"]} if pulse else None,
        "observed": seen and [one["rule"] for one in seen["change_first"]],
        "devices": {" - ".join(one["devices"]): one["systolic"]["mean"] for one in answer["device_differences"]},
    }


def disagreements(expect: dict, answer: dict) -> list[str]:
    """Each point on which the answer is not the clinician's."""
    fired = rules_told(answer)
    steps = {one["code"] for one in answer["next_steps"]}
    texts = " ".join(f"{one['title']} {one['explanation']}" for one in answer["findings"])
    wrong = [f"{name} is missing" for name in expect.get("findings", []) if name not in fired]
    wrong += [f"{name} must not be there" for name in expect.get("absent", []) if name in fired]
    wrong += [f"step {name} is missing" for name in expect.get("next_steps", []) if name not in steps]
    wrong += [f"step {name} must not be there" for name in expect.get("not_next_steps", []) if name in steps]
    wrong += [f"nothing says {words!r}" for words in expect.get("says", []) if words.lower() not in texts.lower()]
    wrong += [f"{words!r} is not advised" for words in expect.get("advises", []) if words not in answer["urgency"]["text"]]
    found = found_in(answer)
    if "none_averaged" in expect and expect["none_averaged"] in found["averages"]:
        wrong.append(f"{expect['none_averaged']} must have no average")
    for name in expect.keys() & found.keys():
        have = {key: found[name].get(key) for key in expect[name]} if isinstance(expect[name], dict) else found[name]
        if have != expect[name]:
            wrong.append(f"{name} is {have}, not {expect[name]}")
    return wrong
