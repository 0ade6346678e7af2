"""What an answer says of everything that may be expected of a patient, in the words of what is expected."""

from collections import Counter
from collections.abc import Mapping
from typing import Any

Answer = Mapping[str, Any]


def told_in(answer: Answer) -> dict[str, Any]:
    """Return, by name of what may be expected, what the answer says of it."""
    readings, findings, steps = answer["readings"], answer["findings"], answer["next_steps"]
    codes = [step["code"] for step in steps]
    return {
        "findings": [entry["rule"] for entry in (*findings, *answer["notes"])],
        "says": " ".join(f"{finding['title']} {finding['explanation']}" for finding in findings),
        "reliability": {reading["id"]: reading["reliability"] for reading in readings},
        "reliabilities": dict(Counter(reading["reliability"] for reading in readings)),
        "averages": _averages(answer),
        "category": answer["classification"]["category"],
        "pattern": answer["pattern"]["label"],
        "urgent": answer["urgent"],
        "level": answer["urgency"]["level"],
        "advises": answer["urgency"]["text"],
        "statements": [statement["code"] for statement in answer["conclusion"]["statements"]],
        "first_step": codes[0] if codes else None,
        "next_steps": codes,
        "problems": sorted(problem["code"] for problem in answer["problems"]),
    }


def _averages(answer: Answer) -> dict[str, list[float]]:
    """Return systolic, diastolic and number of readings of each setting's average by the protocol, where there is one."""
    return {
        average["setting"]: [average["systolic"]["mean"], average["diastolic"]["mean"], average["readings"]]
        for average in answer["averages"]
        if average["basis"] == "protocol" and average["readings"]
    }
