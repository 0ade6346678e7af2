"""A summary of one answer for a terminal, in the language the answer was asked for."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from babel.numbers import format_decimal

from heartlevel.answer.conclusion import without_first_step
from heartlevel.assessment import Rules
from heartlevel.command.terminal.day_plot import DayMeans, day_means, plotted
from heartlevel.command.terminal.look import Look
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.one_call import answers_with_others
from heartlevel.ruling.language.template import locale_of
from heartlevel.vocabulary import RELIABILITIES

IN_FILE = Look()
ALARM, HEADING = {"fg": "red", "bold": True}, {"bold": True}
# So many of each are shown where not all are asked for: an ordinary answer then fits 25 lines.
FINDINGS, STEPS, PROBLEMS = 5, 2, 2
URGENT_MARK = "  !"


def summaries(conclusions: Conclusions, rules: Rules, everything: bool = False, look: Look = IN_FILE) -> Iterator[str]:
    """Yield the summary of each subject's answer."""
    for subject, answer in enumerate(answers_with_others(conclusions, rules)):
        yield summary(answer, rules, everything, look, day_means(conclusions, subject))


def summary(
    answer: Mapping[str, Any],
    rules: Rules,
    everything: bool = False,
    look: Look = IN_FILE,
    means: DayMeans | None = None,
) -> str:
    """Return a few readable lines a subject: conclusion, averages, days, findings, next steps; or all there is of them."""
    words = rules.ruleset.wording[answer["made_with"]["language"]].summary
    return "\n".join(_lines(answer, words, everything, look, means)) + "\n"


def cautions_in(languages: Iterable[str], rules: Rules, look: Look = IN_FILE) -> Iterator[str]:
    """Yield the cautions of each of some languages, to be said once with any number of summaries."""
    for language in languages:
        yield from map(look.wrapped, rules.ruleset.wording[language].cautions)


def _lines(
    answer: Mapping[str, Any], words: Mapping[str, str], everything: bool, look: Look, means: DayMeans | None
) -> Iterator[str]:
    urgent = f"   {look.styled(words['urgent'], **ALARM)}" if answer["urgent"] else ""
    yield f"{look.styled(answer['subject']['id'], **HEADING)}  {_readings(answer, words)}{urgent}"
    yield from (look.wrapped(f"  {sentence}") for sentence in without_first_step(answer))
    yield from _averages(answer, words)
    yield from _plot(means, words, look) if means else ()
    yield from map(look.wrapped, map(_other, answer["other_guidelines"]))
    for heading, written, most in (
        ("findings", [_finding(finding, everything) for finding in answer["findings"]], FINDINGS),
        ("next-steps", [f"  > {step['text']}" for step in answer["next_steps"]], STEPS),
        ("problems", [_problem(problem, everything) for problem in answer["problems"]], PROBLEMS),
    ):
        yield from _listed(words, heading, written, None if everything else most, look)


def _plot(means: DayMeans, words: Mapping[str, str], look: Look) -> Iterator[str]:
    lines, days = plotted(means, look.width)
    title = words["day-plot"].format(**{"setting": words[means.setting], "from": days[0], "to": days[-1]})
    limits = [f"{limit:g}" for limit in means.limits if limit == limit]
    yield look.wrapped("  " + title + (words["day-plot-limit"].format(limits="/".join(limits)) if limits else ""))
    yield from lines


def _listed(words: Mapping[str, str], heading: str, lines: Sequence[str], most: int | None, look: Look) -> Iterator[str]:
    if lines:
        yield look.styled(f"  {words[heading]}", **HEADING)
        yield from (look.wrapped(line, **(ALARM if line.startswith(URGENT_MARK) else {})) for line in lines[:most])
        if hidden := len(lines[most:]) if most else 0:
            yield f"    {words['more'].format(number=hidden)}"


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
