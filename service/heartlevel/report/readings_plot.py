"""Readings over days: each pressure with its reliability, the limits, and each side's mean with its interval."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from textwrap import fill
from typing import TYPE_CHECKING, Any

from babel.dates import format_skeleton

from heartlevel.assessment import Assessment
from heartlevel.report.drawing import AMBULATORY_COLOUR, FAINT, HOME_COLOUR, INK, OFFICE_COLOUR, PALE, svg_of
from heartlevel.ruling.language.template import locale_of
from heartlevel.vocabulary import PRESSURES, SETTINGS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLOURS = {"home": HOME_COLOUR, "ambulatory": AMBULATORY_COLOUR}  # all others are of the office
MARKS = {"home": "o", "ambulatory": "."}  # all others are squares
DASHES = {"home": (0, (6, 3)), "office": (0, (1.5, 2))}
WIDTH, HEIGHT, SIZE = 4.8, 3.4, 20
SOUND, UNUSABLE = "sound", "unusable"
MOST_DRAWN = 1_000  # readings drawn each by itself; the marks of more are one image, as what prints takes a while for each
MOST_TICKS, MARGIN_DAYS, LABEL_WIDTH = 5, 0.6, 54


@dataclass(frozen=True, slots=True)
class PlottedReading:
    """A reading as it is plotted; `at` is its local time in days (proleptic ordinal), pressures are mm[Hg]."""

    at: float
    setting: str
    reliability: str
    systolic: float
    diastolic: float


def plotted_readings(assessment: Assessment, subject: int, answer: Mapping[str, Any]) -> list[PlottedReading]:
    """Return the readings of an answer with their times; `subject` is its number in the batch."""
    batch = assessment.batch
    rows = {batch.names[row]: row for row in range(*batch.rows_of(subject).indices(batch.size))}
    return [
        PlottedReading(
            float(batch.calendar_day[row] + batch.wall_clock[row] / 24), SETTINGS[int(batch.setting[row])],
            reading["reliability"], reading["systolic"], reading["diastolic"],
        )
        for reading in answer["readings"] for row in [rows[reading["id"]]]
    ]  # fmt: skip


def limits_shown(assessment: Assessment, subject: int, settings: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Return the limits of hypertension by setting, of settings that have readings; none that is not published."""
    pairs = {name: assessment.guidelines[subject].raised_from(name) for name in DASHES if name in settings}
    return {name: pair for name, pair in pairs.items() if pair[0] == pair[0]}


def readings_plot(
    readings: Sequence[PlottedReading],
    limits: Mapping[str, tuple[float, float]],
    answer: Mapping[str, Any],
    words: Mapping[str, str],
) -> bytes:
    """Return the plot as SVG; `words` name the settings, limits and marks."""

    is_image = len(readings) > MOST_DRAWN

    def draw(axes: "Axes") -> None:
        _draw_limits(axes, limits, words)
        _draw_periods(axes, answer)
        for setting in dict.fromkeys(reading.setting for reading in readings):
            _draw_setting(axes, setting, [reading for reading in readings if reading.setting == setting], words, is_image)
        _draw_means(axes, readings, answer, words)
        _label(axes, readings, answer["made_with"]["language"])

    return svg_of("readings", WIDTH, HEIGHT, draw)


def _draw_limits(axes: "Axes", limits: Mapping[str, tuple[float, float]], words: Mapping[str, str]) -> None:
    for setting, pair in limits.items():
        if setting != "home" and pair == limits.get("home"):
            continue  # the line is there, and its label says whose it is
        alike = ", ".join(words[f"report-{name}"] for name, other in limits.items() if other == pair)
        told = words["report-limit"].format(setting=alike, limits="/".join(f"{limit:g}" for limit in pair))
        for number, limit in enumerate(pair):
            axes.axhline(limit, color=INK, lw=1, ls=DASHES[setting], zorder=1, label=told if number == 0 else None)


def _draw_periods(axes: "Axes", answer: Mapping[str, Any]) -> None:
    for period in answer["periods"][1:]:
        axes.axvline(date.fromisoformat(period["from"]).toordinal(), color=FAINT, lw=1)


def _draw_setting(
    axes: "Axes", setting: str, readings: Sequence[PlottedReading], words: Mapping[str, str], is_image: bool
) -> None:
    colour, mark = COLOURS.get(setting, OFFICE_COLOUR), MARKS.get(setting, "s")
    used = [reading for reading in readings if reading.reliability != UNUSABLE]
    axes.vlines([reading.at for reading in used], [reading.diastolic for reading in used],
                [reading.systolic for reading in used], color=PALE, lw=1, zorder=0, rasterized=is_image)  # fmt: skip
    named = f"report-{setting}"
    for filled in (True, False):
        alike = [reading for reading in used if (reading.reliability == SOUND) == filled]
        label = words[named] + ("" if filled else f", {words['report-not-sure']}")
        look = {"marker": mark, "facecolors": colour if filled else "white", "edgecolors": colour}
        _scatter(axes, alike, label, **look, rasterized=is_image)
    left_out = [reading for reading in readings if reading.reliability == UNUSABLE]
    _scatter(axes, left_out, f"{words[named]}, {words['report-left-out']}", marker="x", color=colour, rasterized=is_image)


def _scatter(axes: "Axes", readings: Sequence[PlottedReading], label: str, **look: Any) -> None:
    for number, pressure in enumerate(PRESSURES if readings else ()):
        axes.scatter([reading.at for reading in readings], [getattr(reading, pressure) for reading in readings],
                     s=SIZE, linewidths=1, zorder=3, label=label if number == 0 else None, **look)  # fmt: skip


def _draw_means(
    axes: "Axes", readings: Sequence[PlottedReading], answer: Mapping[str, Any], words: Mapping[str, str]
) -> None:
    """Draw the mean by the protocol of each setting, with its 95 % interval, right of the readings."""
    last = max(reading.at for reading in readings)
    step = max((last - min(reading.at for reading in readings)) * 0.03, 0.25)
    for number, (setting, systolic, diastolic) in enumerate(_means(answer), 1):
        colour, at = COLOURS.get(setting, OFFICE_COLOUR), last + step * (1 + number)
        label: str | None = words["report-mean"].format(setting=words[f"report-{setting}"])
        for summary in (systolic, diastolic):
            low, high = summary["interval95"] or (summary["mean"], summary["mean"])
            axes.plot([at, at], [low, high], color=colour, lw=2, zorder=2)
            axes.scatter([at], [summary["mean"]], marker="D", s=34, color=colour, zorder=4, label=label)
            label = None


def _means(answer: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any], Mapping[str, Any]]]:
    for average in answer["averages"]:
        if average["basis"] == "protocol":
            yield average["setting"], average["systolic"], average["diastolic"]


def _label(axes: "Axes", readings: Sequence[PlottedReading], language: str) -> None:
    first, last = (int(end(reading.at for reading in readings)) for end in (min, max))
    step = max(1, -(-(last - first + 1) // MOST_TICKS))
    days = list(range(first, last + 1, step))
    axes.set_xticks([day + 0.5 for day in days], [_day_label(day, language) for day in days])
    axes.set_xlim(left=first - MARGIN_DAYS + 0.5)
    axes.set_ylabel("mmHg")
    handles, labels = axes.get_legend_handles_labels()
    axes.figure.legend(handles, [fill(label, LABEL_WIDTH) for label in labels], loc="outside lower left")


def _day_label(day: int, language: str) -> str:
    return str(format_skeleton("MMMd", date.fromordinal(day), locale=locale_of(language)))
