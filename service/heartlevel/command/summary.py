"""A summary of one answer for a terminal."""

from collections.abc import Iterator
from textwrap import fill
from typing import Any

from heartlevel.vocabulary import RELIABILITIES

WIDTH = 100


def summary(answer: dict[str, Any]) -> str:
    """Return a few readable lines a subject: urgent values, averages, comparison, findings, next steps."""
    return "\n".join(_lines(answer)) + "\n"


def _lines(answer: dict[str, Any]) -> Iterator[str]:
    yield f"{answer['subject']['id']}  {_reliabilities(answer)}{'   URGENT' if answer['urgent'] else ''}"
    yield from _averages(answer)
    yield f"  home and office  {answer['pattern']['label']}"
    yield f"  category         {_category(answer['classification'])}"
    yield from map(_other, answer["other_guidelines"])
    for finding in answer["findings"]:
        mark = "!" if finding["urgent"] else "-"
        where = f" [{_counted(len(finding['readings']), 'reading')}]" if finding["readings"] else ""
        yield _wrapped(f"  {mark} {finding['title']} ({finding['rule']}){where}: {finding['explanation']}")
    for step in answer["next_steps"]:
        yield _wrapped(f"  > {step['text']}")
    for problem in answer["problems"]:
        hint = f" ({problem['hint']})" if problem["hint"] else ""
        yield _wrapped(f"  ? {problem['pointer']}: {problem['detail']}{hint}")


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"


def _wrapped(line: str) -> str:
    return fill(line, WIDTH, subsequent_indent="      ")


def _reliabilities(answer: dict[str, Any]) -> str:
    reliabilities = [reading["reliability"] for reading in answer["readings"]]
    parts = [f"{reliabilities.count(name)} {name}" for name in RELIABILITIES if name in reliabilities]
    return _counted(len(reliabilities), "reading") + (f": {', '.join(parts)}" if parts else "")


def _averages(answer: dict[str, Any]) -> Iterator[str]:
    for average in answer["averages"]:
        if average["basis"] == "protocol":
            pressures = f"{average['systolic']['mean']:.1f}/{average['diastolic']['mean']:.1f} mm[Hg]"
            interval = average["systolic"]["interval95"]
            sure = f", systolic 95 % interval {interval[0]:.1f} to {interval[1]:.1f}" if interval else ""
            amount = f"{_counted(average['readings'], 'reading')} on {_counted(average['days'], 'day')}"
            yield f"  {average['setting']:<16} {pressures} from {amount} by protocol{sure}"


def _other(other: dict[str, Any]) -> str:
    differs = f"differs in: {', '.join(other['disagrees_in'])}" if other["disagrees_in"] else "agrees"
    return _wrapped(f"    under {other['guideline']}: {other['title'] or 'no category'}, {other['pattern']}; {differs}")


def _category(classification: dict[str, Any]) -> str:
    if classification["category"] is None:
        return f"none given: {classification['reason'].replace('-', ' ')}"
    holds = "holds" if classification["holds"] else "would change under another selection of readings"
    return f"{classification['title']} ({classification['guideline']}, {classification['setting']}; {holds})"
