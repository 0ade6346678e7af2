"""What a practice sees at a glance: the commonest faults as bars, differences between groups with their intervals."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from textwrap import fill, shorten
from typing import TYPE_CHECKING, Any

from heartlevel.report.drawing import HOME_COLOUR, INK, OFFICE_COLOUR, svg_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_BARS, MOST_ROWS = 10, 16
WIDTH, BAR_HEIGHT, ROW_HEIGHT, MARGIN = 6.4, 0.4, 0.5, 0.8  # inches
LABEL_WIDTH, LONGEST_LABEL = 32, 60
LOOKS = {"systolic": ("o", HOME_COLOUR, -0.13), "diastolic": ("s", OFFICE_COLOUR, 0.13)}


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """A group less the others: for each pressure its mean and interval (mm[Hg]), and whether it differs."""

    label: str
    estimates: Mapping[str, Mapping[str, Any]]


def faults_plot(faults: Sequence[tuple[str, int]], across: str) -> bytes | None:
    """Return bars of the commonest faults, titles and numbers of people, as SVG; None where there is none."""
    shown = faults[:MOST_BARS]
    if not shown:
        return None

    def draw(axes: "Axes") -> None:
        bars = axes.barh(range(len(shown)), [people for _, people in shown], color=HOME_COLOUR, height=0.6)
        axes.bar_label(bars, padding=3)
        _label_rows(axes, [title for title, _ in shown])
        axes.set_xlabel(across)

    return svg_of("faults", WIDTH, MARGIN + BAR_HEIGHT * len(shown), draw)


def differences_plot(rows: Sequence[DifferenceRow], across: str, words: Mapping[str, str]) -> bytes | None:
    """Return differences with their intervals as SVG; None where there is none. Hollow: it may be that there is none."""
    shown = [row for row in rows if row.estimates["systolic"]["interval95_together"]][:MOST_ROWS]
    if not shown:
        return None

    def draw(axes: "Axes") -> None:
        axes.axvline(0, color=INK, lw=1)
        for pressure, (mark, colour, offset) in LOOKS.items():
            for number, row in enumerate(shown):
                _draw_estimate(axes, number + offset, row.estimates[pressure], mark, colour)
            axes.scatter([], [], marker=mark, color=colour, label=words[f"report-{pressure}"])
        _label_rows(axes, [row.label for row in shown])
        axes.set_xlabel(across)
        axes.figure.legend(loc="outside lower center", ncols=2)

    return svg_of("differences", WIDTH, MARGIN + ROW_HEIGHT * (len(shown) + 1), draw)


def _draw_estimate(axes: "Axes", at: float, estimate: Mapping[str, Any], mark: str, colour: str) -> None:
    if estimate["interval95_together"] is None:
        return
    axes.plot(estimate["interval95_together"], [at, at], color=colour, lw=1.5, zorder=1)
    face = colour if estimate["differs"] else "white"
    axes.scatter([estimate["mean"]], [at], marker=mark, s=34, facecolors=face, edgecolors=colour, zorder=2)


def _label_rows(axes: "Axes", labels: Sequence[str]) -> None:
    """Put labels on rows from the top down; what cannot be printed is left out of them."""
    plain = ("".join(sign if sign.isprintable() else " " for sign in label) for label in labels)
    axes.set_yticks(
        range(len(labels)), [fill(shorten(label, LONGEST_LABEL, placeholder=" …"), LABEL_WIDTH) for label in plain]
    )
    axes.invert_yaxis()
