"""Reads the sentences of a conclusion back, and holds them against the numbers of the same answer."""

import re
from collections.abc import Iterator
from typing import Any

PAIR = re.compile(r"(\d+(?:[.,]\d)?)/(\d+(?:[.,]\d)?)")
RAISED = {"raised": True, "not-raised": False, "between": False, "good-week": False, "raised-by-numbers": True,
          "not-raised-by-numbers": False, "low": False}  # fmt: skip
NOTHING = ("too-few", "too-few-ambulatory", "nothing-usable", "nothing-usable-because", "nothing-sent", "no-limits-there",
           "no-limit", "not-relied-on")  # fmt: skip
LOWEST = (90, 60)  # the convention of the guidelines' files
LABELS = {"both-raised": "sustained", "office-only": "office-only-elevation", "outside-only": "home-only-elevation",
          "neither-raised": "normal-in-both"}  # fmt: skip
WORDS = {"almost-certain": 0.95, "probable": 0.8}  # rules/ruleset.yaml
MOST = 3


def untrue(answer: dict[str, Any]) -> list[str]:
    """Return what a conclusion says that the answer does not bear."""
    return list(_untrue(answer))


def _untrue(answer: dict[str, Any]) -> Iterator[str]:
    conclusion = answer["conclusion"]
    statements = conclusion["statements"]
    if not 1 <= len(statements) <= MOST or len(conclusion["clinician"]) != len(statements):
        yield f"{len(statements)} statements, {len(conclusion['clinician'])} sentences"
    if len(conclusion["patient"]) > MOST:
        yield "more than three sentences to the person"
    codes = [statement["code"] for statement in statements]
    if answer["urgent"] != any(code.startswith("urgency-") and code != "urgency-history" for code in codes):
        yield f"urgent is {answer['urgent']}, and {codes} are said"
    if answer["urgent"] and not codes[0].startswith("urgency-"):
        yield "what is urgent is not said first"
    for statement, sentence in zip(statements, conclusion["clinician"], strict=False):
        yield from _of_statement(answer, statement["code"], statement["values"], sentence)


def _of_statement(answer: dict[str, Any], code: str, values: dict[str, Any], sentence: str) -> Iterator[str]:
    if code.startswith("urgency-"):
        if answer["urgency"]["text"] not in sentence or f"urgency-{answer['urgency']['level']}" != code:
            yield f"{code}: not what the urgency says"
        return
    shown = PAIR.findall(sentence if answer["made_with"]["language"] == "en" else sentence.replace(",", "."))
    for prefix in ("", "other_"):
        if f"{prefix}systolic" in values:
            yield from _of_side(answer, code, values, prefix, shown)
    if code in RAISED:
        yield from _of_result(answer, code, values, sentence)
    if code in LABELS:
        yield from _of_pattern(answer, code, values)
    yield from _of_rest(answer, code, sentence)
    for begins, check in (("too-few", _of_counts), ("target-", _of_target), ("change-", _of_change),
                          (("low", "beside-", "says-otherwise-"), _of_other_sides)):  # fmt: skip
        if code.startswith(begins):
            yield from check(answer, code, values)


def _of_rest(answer: dict[str, Any], code: str, sentence: str) -> Iterator[str]:
    if code == "first" and answer["next_steps"][0]["text"] not in sentence:
        yield "first: not the first of the next steps"
    if code in NOTHING and answer["classification"]["category"] is not None:
        yield f"{code}: and yet there is a category"
    if code == "falls-on-standing" and not any("fall_on_standing" in str(found["facts"]) for found in answer["findings"]):
        yield f"{code}: and yet no finding tells so"
    usable = [reading for reading in answer["readings"] if reading["reliability"] != "unusable"]
    if code.startswith("nothing-") and usable:
        yield f"{code}: and yet {len(usable)} readings are usable"


def _of_other_sides(answer: dict[str, Any], code: str, values: dict[str, Any]) -> Iterator[str]:
    """Hold what is said beside the result against the sides: whether one is raised, or low."""
    (side,) = [side for side in answer["sides"] if side["side"] == values["side"]]
    raised = code.endswith("-raised") and not code.endswith("-not-raised")
    titles = {"below-threshold", "normal", "elevated", "high-normal", "optimal"}
    if code.startswith(("beside-", "says-otherwise-")) and raised is (side["category"] in titles):
        yield f"{code}: of {side['category']}"
    if code.startswith("beside-") and answer["pattern"]["settled"] != "undetermined":
        yield f"{code}: and yet the pattern is {answer['pattern']['settled']}"
    low = any(side[name] < limit for name, limit in zip(("systolic", "diastolic"), LOWEST, strict=True))
    if code.startswith("low") and not low:
        yield f"{code}: of {side['systolic']}/{side['diastolic']}"


def _of_pattern(answer: dict[str, Any], code: str, values: dict[str, Any]) -> Iterator[str]:
    pattern = answer["pattern"]
    if (pattern["settled"], pattern["sureness"]) != (LABELS[code], values["sureness"]):
        yield f"{code}, {values['sureness']}: the pattern is {pattern['label']}, {pattern['sureness']}"


def _of_side(
    answer: dict[str, Any], code: str, values: dict[str, Any], prefix: str, shown: list[tuple[str, str]]
) -> Iterator[str]:
    (side,) = [side for side in answer["sides"] if side["side"] == values[f"{prefix}side"]]
    for pressure in ("systolic", "diastolic"):
        if abs(side[pressure] - values[f"{prefix}{pressure}"]) > 0.56:  # rounded twice: to one decimal, then to none
            yield f"{code}: {pressure} {values[f'{prefix}{pressure}']} is said of {side[pressure]}"
    if (f"{values[f'{prefix}systolic']:g}", f"{values[f'{prefix}diastolic']:g}") not in shown:
        yield f"{code}: the sentence shows {shown}"
    if values[f"{prefix}days"] not in _days_averaged(answer, side):
        yield f"{code}: {values[f'{prefix}days']} days are said of {list(_days_averaged(answer, side))}"


def _days_averaged(answer: dict[str, Any], side: dict[str, Any]) -> range:
    """Return what may be said: the days of the average by protocol; around the clock no more than by the calendar."""
    if side["side"].startswith("ambulatory"):
        return range(1, side["days"] + 1)
    setting = side["side"].removesuffix("-attended")
    (days,) = [
        average["days"] for average in answer["averages"] if (average["basis"], average["setting"]) == ("protocol", setting)
    ]
    return range(days, days + 1)


def _of_result(answer: dict[str, Any], code: str, values: dict[str, Any], sentence: str) -> Iterator[str]:
    classification = answer["classification"]
    if classification["raised"] != RAISED[code] or classification["side"] != values["side"]:
        yield f"{code}: said of {classification['side']}, raised: {classification['raised']}"
    if code != "low" and classification["title"] not in sentence:
        yield f"{code}: the category is {classification['title']}"
    missed = [side for side in (answer["target"] or {"sides": []})["sides"] if side["state"] != "attained"]
    if code == "good-week" and (answer["findings"] or missed):
        yield f"{code}: and yet there are findings"
    chances = classification["probability_at_or_above"]
    if code.endswith("-by-numbers"):
        if chances:
            yield f"{code}: as measured, though {chances}"
    elif not any(
        (chance if RAISED[code] else 1 - chance) >= WORDS[values["sureness"]] - 0.001 for chance in chances.values()
    ):
        yield f"{code}: {values['sureness']}, of {chances}"


def _of_counts(answer: dict[str, Any], code: str, values: dict[str, Any]) -> Iterator[str]:
    readings = {side["side"]: side["readings"] for side in answer["sides"]}
    office = sum(readings.get(name, 0) for name in ("office-attended", "office-unattended"))
    if (readings.get("home", 0), office) != (values["home_readings"], values["office_readings"]):
        yield f"{code}: {values} of {readings}"


def _of_target(answer: dict[str, Any], code: str, values: dict[str, Any]) -> Iterator[str]:
    target = answer["target"]
    (side,) = [side for side in target["sides"] if side["side"] == values["side"]]
    if code != "target-cannot-be-told" and (side["state"] != code.removeprefix("target-")):
        yield f"{code}: the target is {side['state']}"
    figures = [f"{side[name]:g}" for name in ("systolic", "diastolic") if side[name] is not None]
    if not all(figure in values["target"] for figure in figures):
        yield f"{code}: {values['target']} of {figures}"


def _of_change(answer: dict[str, Any], code: str, values: dict[str, Any]) -> Iterator[str]:
    change = answer["change"]
    (side,) = [side for side in change["sides"] if side["side"] == values["side"]]
    if side["state"] != ("higher" if code == "change-higher" else "lower") or values["since"] != change["since"]["to"]:
        yield f"{code}: the change is {side['state']} since {change['since']}"
    for when in ("before", "now"):
        shown = [float(figure) for figure in values[when].split("/")]
        if any(
            abs(figure - side[name][when]) > 0.56 for figure, name in zip(shown, ("systolic", "diastolic"), strict=True)
        ):
            yield f"{code}: {values[when]} {when}"
