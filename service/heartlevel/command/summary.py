"""A summary of one answer for a terminal, in the language the answer was asked for."""

from collections.abc import Iterator, Mapping, Sequence
from textwrap import fill
from typing import Any

from babel.numbers import format_decimal

from heartlevel.assessment import Rules
from heartlevel.ruling.language.template import locale_of
from heartlevel.vocabulary import RELIABILITIES

WIDTH = 100
# So many of each are shown where not all are asked for: an ordinary answer then fits 25 lines.
FINDINGS, STEPS, PROBLEMS = 6, 3, 3


def summary(answer: Mapping[str, Any], rules: Rules, everything: bool = False) -> str:
    """Return a few readable lines a subject: the conclusion, averages, findings, next steps; or all there is of them."""
    words = rules.ruleset.wording[answer["made_with"]["language"]].summary
    return "\n".join(_lines(answer, words, everything)) + "\n"


def _lines(answer: Mapping[str, Any], words: Mapping[str, str], everything: bool) -> Iterator[str]:
    urgent = f"   {words['urgent']}" if answer["urgent"] else ""
    yield f"{answer['subject']['id']}  {_readings(answer, words)}{urgent}"
    yield from (_wrapped(f"  {sentence}") for sentence in answer["conclusion"]["clinician"])
    yield from _averages(answer, words)
    yield from map(_wrapped, map(_other, answer["other_guidelines"]))
    for heading, written, most in (
        ("findings", [_finding(finding, everything) for finding in answer["findings"]], FINDINGS),
        ("next-steps", [f"  > {step['text']}" for step in answer["next_steps"]], STEPS),
        ("problems", [_problem(problem, everything) for problem in answer["problems"]], PROBLEMS),
    ):
        yield from _listed(words, heading, written, None if everything else most)


def _listed(words: Mapping[str, str], heading: str, lines: Sequence[str], most: int | None) -> Iterator[str]:
    if lines:
        yield f"  {words[heading]}"
        yield from map(_wrapped, lines[:most])
        if hidden := len(lines[most:]) if most else 0:
            yield f"    {words['more'].format(number=hidden)}"


def _wrapped(line: str) -> str:
    return fill(line, WIDTH, subsequent_indent="      ")


def _readings(answer: Mapping[str, Any], words: Mapping[str, str]) -> str:
    """Return how many readings there are, how reliable, and of which days."""
    reliabilities = [reading["reliability"] for reading in answer["readings"]]
    parts = [f"{words[name]} {reliabilities.count(name)}" for name in RELIABILITIES if name in reliabilities]
    lost = answer["counts"]["lost"]
    parts += [f"{words['lost']} {lost}"] if lost else []
    return f"{words['readings']} {answer['counts']['received']}" + (f" ({', '.join(parts)})" if parts else "")


def _averages(answer: Mapping[str, Any], words: Mapping[str, str]) -> Iterator[str]:
    locale = locale_of(answer["made_with"]["language"])
    for average in answer["averages"]:
        if average["basis"] == "protocol":
            means = (average[pressure]["mean"] for pressure in ("systolic", "diastolic"))
            pressures = "/".join(format_decimal(mean, "0.0", locale) for mean in means)
            amount = f"{words['readings']} {average['readings']}, {words['days']} {average['days']}"
            yield f"  {words[average['setting']]:<16} {pressures} mmHg  {amount}, {average['from']} – {average['to']}"


def _other(other: Mapping[str, Any]) -> str:
    differs = f" ≠ {', '.join(other['disagrees_in'])}" if other["disagrees_in"] else ""
    return f"    {other['guideline']}: {other['title'] or '–'}, {other['pattern']}{differs}"


def _finding(finding: Mapping[str, Any], everything: bool) -> str:
    mark, number = "!" if finding["urgent"] else "-", len(finding["readings"])
    where = f" [{number}]" if number else ""
    return f"  {mark} {finding['title']} ({finding['rule']}){where}" + (f": {finding['explanation']}" if everything else "")


def _problem(problem: Mapping[str, Any], everything: bool) -> str:
    detail = f": {problem['detail']}" + (f" ({problem['hint']})" if problem["hint"] else "")
    return f"  ? {problem['pointer']} {problem['code']}" + (detail if everything else "")
