"""The figures of a practice as one page that needs nothing else: no script, no request."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from babel.numbers import format_decimal, format_percent

from heartlevel.handouts.rendering import rendered
from heartlevel.practice.plots import DifferenceRow, differences_plot, faults_plot
from heartlevel.report.drawing import as_source, can_draw
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet, Wording
from heartlevel.ruling.language.template import locale_of
from heartlevel.statistics.agreement import VERDICTS

PREFIX = "practice-"  # of this page's words
UNKNOWN = "–"


def practice_page(figures: Mapping[str, Any], rules: RuleSet, language: str = DEFAULT_LANGUAGE) -> bytes:
    """Return the page of `practice_figures` in a language of the rules; without the extra `pages` it has no plots."""
    wording = rules.wording[language]
    words = {key.removeprefix(PREFIX): text for key, text in wording.pages.items() if key.startswith(PREFIX)}
    numbers = Numbers(words, language)
    return rendered(
        "practice.html.j2", language, figures=figures, words=words, cautions=wording.cautions, source=as_source,
        faults={fault["rule"]: fault for fault in figures["faults"]}, categories=_categories(rules, wording),
        reasons=_worded(words, "reason-"), documented=_worded(words, "documented-"),
        verdicts={verdict: wording.pages[f"report-verdict-{verdict}"] for verdict in VERDICTS},
        pressures={name: wording.pages[f"report-{name}"] for name in ("systolic", "diastolic")},
        rules_word=wording.pages["report-rules"], plots=_plots(figures, wording, words),
        title=partial(_title, wording), step=partial(_step, rules, wording), named=partial(_named, wording),
        heading=partial(_heading, words), told=numbers.told, percent=numbers.percent, signed=numbers.signed,
        span=numbers.span,
    )  # fmt: skip


class Numbers:
    """Writes numbers as a language does."""

    def __init__(self, words: Mapping[str, str], language: str) -> None:
        """Write numbers of a language, with its word for one that is withheld."""
        self._withheld, self._locale = words["withheld"], locale_of(language)

    def told(self, number: int | None) -> str:
        """Return a number of people or readings."""
        return self._withheld if number is None else str(format_decimal(number, locale=self._locale))

    def percent(self, share: float) -> str:
        """Return a share."""
        return str(format_percent(share, "0 %", self._locale))

    def signed(self, number: float | None) -> str:
        """Return a difference with its sign."""
        return UNKNOWN if number is None else str(format_decimal(number, "+0.0;−0.0", self._locale))

    def span(self, ends: Sequence[float] | None) -> str:
        """Return a range of mm[Hg]; one number where both ends are the same."""
        if ends is None:
            return UNKNOWN
        return " … ".join(self.signed(end) for end in dict.fromkeys(ends))


def _worded(words: Mapping[str, str], prefix: str) -> dict[str, str]:
    return {key.removeprefix(prefix): text for key, text in words.items() if key.startswith(prefix)}


def _categories(rules: RuleSet, wording: Wording) -> dict[str, str]:
    """Return what categories are called, by id; of one that guidelines call otherwise, as the default guideline does."""
    order = sorted(rules.guidelines.values(), key=lambda guideline: guideline.id != rules.default_guideline)
    called: dict[str, str] = {}
    for guideline in order:
        for categories in guideline.categories.values():
            for category in categories:
                called.setdefault(category.id, wording.categories.get(category.title, category.title))
    return called


def _title(wording: Wording, fault: Mapping[str, Any]) -> str:
    """Return what a fault is called; by its id where the rule is in force no more."""
    texts = wording.rules.get(fault["rule"])
    return texts.title if texts else str(fault["title"] or fault["rule"])


def _step(rules: RuleSet, wording: Wording, fault: Mapping[str, Any]) -> str | None:
    steps = (rule.next_step for rule in rules.every_rule() if rule.id == fault["rule"])
    step = next(steps, None)
    return wording.next_steps[step] if step else None


def _named(wording: Wording, name: str) -> str:
    """Return what a group is called: settings, places and people in the language's words, all else as it was sent."""
    return wording.pages.get(f"report-{name}") or wording.names.get(name, name)


def _heading(words: Mapping[str, str], grouping: Mapping[str, Any]) -> str:
    by = words.get(f"by-{grouping['by']}", grouping["by"].rpartition(".")[2].replace("_", " "))
    return f"{by}, {words['room-' + grouping['where']]}"


def _plots(figures: Mapping[str, Any], wording: Wording, words: Mapping[str, str]) -> dict[str, bytes | None]:
    if not can_draw():
        return {"faults": None, "differences": None}
    faults = [(_title(wording, fault), fault["people"]) for fault in figures["faults"]]
    rows = [
        DifferenceRow(
            f"{_named(wording, difference['group'])} ({_heading(words, grouping)})", difference["from_the_others"]
        )
        for grouping in figures["groups"]["groupings"]
        for difference in grouping["differences"]
    ]
    return {
        "faults": faults_plot(faults, words["column-people"]),
        "differences": differences_plot(rows, words["column-less"], wording.pages),
    }
