"""A device against its reference: differences over means, with bias and limits of agreement (Bland and Altman, 1986)."""

from collections.abc import Mapping, Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Any

from heartlevel.report.drawing import HOME_COLOUR, INK, OFFICE_COLOUR, svg_of
from heartlevel.vocabulary import PRESSURES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, HEIGHT, LEAST, LABEL_WIDTH = 4.8, 2.6, 2, 22
LOOKS = {"systolic": ("o", HOME_COLOUR), "diastolic": ("s", OFFICE_COLOUR)}


def device_plot(check: Mapping[str, Any], told: Mapping[str, Any], words: Mapping[str, str]) -> bytes | None:
    """Return the plot as SVG; None of fewer than two pairs. `check` is as sent (mm[Hg]), `told` its part of the answer."""
    points = {pressure: _points(check, pressure) for pressure in PRESSURES}
    if max(map(len, points.values())) < LEAST:
        return None

    def draw(axes: "Axes") -> None:
        axes.axhline(0, color=INK, lw=1)
        for pressure in PRESSURES:
            _draw_pressure(axes, points[pressure], told, pressure, words)
        axes.set_xlabel(words["report-device-across"])
        axes.set_ylabel(fill(words["report-device-up"], LABEL_WIDTH))
        axes.figure.legend(loc="outside lower center", ncols=2)

    return svg_of("device", WIDTH, HEIGHT, draw)


def _points(check: Mapping[str, Any], pressure: str) -> list[tuple[float, float]]:
    """Return means and differences (device minus reference) of the pairs that have both."""
    pairs = ((pair["device"].get(pressure), pair["reference"].get(pressure)) for pair in check.get("pairs") or ())
    return [((device + reference) / 2, device - reference) for device, reference in pairs
            if device is not None and reference is not None]  # fmt: skip


def _draw_pressure(
    axes: "Axes", points: Sequence[tuple[float, float]], told: Mapping[str, Any], pressure: str, words: Mapping[str, str]
) -> None:
    if not points:
        return
    mark, colour = LOOKS[pressure]
    axes.scatter([mean for mean, _ in points], [difference for _, difference in points], s=20,
                 label=words[f"report-{pressure}"], marker=mark, color=colour)  # fmt: skip
    bias, limits = told["bias"][pressure], told["limits95"][pressure]
    if bias and bias["mean"] is not None:
        axes.axhline(bias["mean"], color=colour, lw=1.5)
    for limit in limits or ():
        axes.axhline(limit, color=colour, lw=1, ls=(0, (4, 3)))
