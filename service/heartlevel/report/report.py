"""What the report shows, taken from the whole answer: chosen and put in an order, decided nowhere here."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, chain, islice
from typing import Any

from heartlevel.answer.conclusion import without_first_step
from heartlevel.assessment import Rules
from heartlevel.conclusions.conclude import Conclusions
from heartlevel.conclusions.statements.averages import AS_MEASURED
from heartlevel.handouts.rendering import long_date
from heartlevel.intake.faults import escaped
from heartlevel.report.device_plot import device_plot
from heartlevel.report.figures import ToldNumbers
from heartlevel.report.missing import MissingTopic, missing_topics
from heartlevel.report.readings_plot import limits_shown, plotted_readings, readings_plot
from heartlevel.ruling.language.ruleset import RuleSet
from heartlevel.vocabulary import UNDETERMINED

MOST_LISTED = 30  # of episodes, periods, device checks and problems; how many more there are is told
MOST_PLOTTED = 6  # device checks, of those listed
MOST_EXPLAINED = 1500  # characters of explanations in print
ONE = "/-"  # ends the name of a limit of systolic pressure alone


@dataclass(frozen=True, slots=True)
class AlikeFindings:
    """Findings of one rule: the first of them, how many there are, and how many readings they are of."""

    finding: Mapping[str, Any]
    number: int
    readings: int


@dataclass(frozen=True, slots=True)
class ReportedStep:
    """What to do next, and the findings that it follows from."""

    text: str
    findings: list[AlikeFindings]


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability and what it is of."""

    label: str
    at: str  # its JSON Pointer in the answer


@dataclass(frozen=True, slots=True)
class MadeWith:
    """What an answer was made with, as it is called."""

    guideline: str
    limits_of: str  # the guideline whose limits hold for the person
    protocol: str


@dataclass(frozen=True)
class Report:
    """All that the page shows beside the answer itself. Plots are SVG; None where there is nothing to plot."""

    answer: Mapping[str, Any]
    words: Mapping[str, str]
    by_numbers: bool  # whether the conclusion says what the averages say and cannot say how sure that is
    figures: ToldNumbers
    steps: list[ReportedStep]
    others: list[AlikeFindings]  # findings that no step follows from
    chances: list[Chance]
    patterns: list[Chance]
    missing: list[MissingTopic]
    made_with: MadeWith
    sources: list[str]
    readings: bytes | None
    devices: list[bytes | None]  # one each of the first device checks
    most_listed: int = MOST_LISTED

    @property
    def titles(self) -> Mapping[str, str]:
        """Titles of the findings by rule: a problem of that code says no more than its finding."""
        return {finding["rule"]: finding["title"] for finding in self.answer["findings"]}

    @cached_property
    def in_short(self) -> frozenset[str]:
        """The findings, by id, that are printed without their explanations, so that two sides hold it all."""
        alike = [*chain.from_iterable(step.findings for step in self.steps), *self.others]
        findings = [group.finding for group in alike]
        lengths = accumulate(len(finding["explanation"]) for finding in findings)
        return frozenset(
            finding["id"] for finding, length in zip(findings, lengths, strict=True) if length > MOST_EXPLAINED
        )

    def day(self, day: str) -> str:
        """Return a date of ISO 8601 in words of the report's language."""
        return long_date(day, self.language)

    @property
    def concluded(self) -> list[str]:
        """The sentences of the conclusion; the first step is told below, among the others."""
        return without_first_step(self.answer)

    @property
    def language(self) -> str:
        """The language of the texts."""
        return str(self.answer["made_with"]["language"])


def report_of(conclusions: Conclusions, subject: int, answer: Mapping[str, Any], rules: Rules) -> Report:
    """Return the report on a subject of a batch from its whole answer. Raises ModuleNotFoundError without `pages`."""
    wording = rules.ruleset.wording[answer["made_with"]["language"]]
    words, by_numbers = wording.pages, wording.conclusion.words[AS_MEASURED]
    steps = list(_steps(answer))
    told = {finding for step in answer["next_steps"] for finding in step["because"]}
    checks = conclusions.assessment.batch.requests[subject].checks
    return Report(
        answer=answer,
        words=words,
        by_numbers=any(by_numbers in sentence for sentence in answer["conclusion"]["clinician"]),
        figures=ToldNumbers(answer),
        steps=steps,
        others=_alike([finding for finding in answer["findings"] if finding["id"] not in told]),
        chances=list(_chances(answer, words)),
        patterns=list(_patterns(answer, words)),
        missing=missing_topics(answer, words, rules.ruleset.facts),
        made_with=_made_with(answer, rules.ruleset),
        sources=sorted(_sources(answer)),
        readings=_readings_plot(conclusions, subject, answer, words),
        devices=[
            device_plot(*both, words) for both in islice(zip(checks, answer["device_checks"], strict=True), MOST_PLOTTED)
        ],
    )


def _readings_plot(
    conclusions: Conclusions, subject: int, answer: Mapping[str, Any], words: Mapping[str, str]
) -> bytes | None:
    readings = plotted_readings(conclusions.assessment, subject, answer)
    if not readings:
        return None
    limits = limits_shown(conclusions.assessment, subject, [reading.setting for reading in readings])
    return readings_plot(readings, limits, answer, words)


def _steps(answer: Mapping[str, Any]) -> Iterator[ReportedStep]:
    """Yield the steps in their order; each finding stands under the first that follows from it."""
    findings, told = {finding["id"]: finding for finding in answer["findings"]}, set[str]()
    for step in answer["next_steps"]:
        names = [name for name in step["because"] if name in findings and name not in told]
        told |= set(names)
        yield ReportedStep(step["text"], _alike([findings[name] for name in names]))


def _alike(findings: Sequence[Mapping[str, Any]]) -> list[AlikeFindings]:
    """Return findings by rule, in the order of the first of each."""
    by_rule: dict[str, list[Mapping[str, Any]]] = {}
    for finding in findings:
        by_rule.setdefault(finding["rule"], []).append(finding)
    return [AlikeFindings(own[0], len(own), sum(finding["count"] for finding in own)) for own in by_rule.values()]


def _chances(answer: Mapping[str, Any], words: Mapping[str, str]) -> Iterator[Chance]:
    probable = answer["classification"].get("probability_at_or_above") or {}
    for limit, chance in probable.items():
        if chance is not None:
            told = f"{words['report-systolic']} {limit.removesuffix(ONE)}" if limit.endswith(ONE) else limit
            label = words["report-at-or-above"].format(limit=told)
            yield Chance(label, f"/classification/probability_at_or_above/{escaped(limit)}")


def _patterns(answer: Mapping[str, Any], words: Mapping[str, str]) -> Iterator[Chance]:
    """Yield how probable each pattern is by the first limits that have chances; none where sides are not compared."""
    if answer["pattern"]["label"] == UNDETERMINED:
        return
    for number, chance in enumerate((answer["pattern"]["chances"] or ())[:1]):
        for label in chance["probability"]:
            yield Chance(words[f"report-{label}"], f"/pattern/chances/{number}/probability/{label}")


def _made_with(answer: Mapping[str, Any], ruleset: RuleSet) -> MadeWith:
    made_with, names = answer["made_with"], ruleset.guidelines
    guideline, limits_of = (names[made_with[key]].short_name for key in ("guideline", "limits_from"))
    return MadeWith(guideline, limits_of, ruleset.protocols[made_with["protocol"]].title)


def _sources(answer: Mapping[str, Any]) -> set[str]:
    parts: Sequence[Mapping[str, Any]] = [*answer["findings"], *([answer["target"]] if answer["target"] else [])]
    return {source["cite"] for part in parts for source in part["sources"] or ()}
