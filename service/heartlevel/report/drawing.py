"""Plots as SVG, drawn by matplotlib, which is imported where one is drawn; the same numbers give the same bytes."""

from base64 import b64encode
from collections.abc import Callable
from importlib.util import find_spec
from io import BytesIO
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Draw: TypeAlias = "Callable[[Axes], None]"
DOTS = 200  # an inch, of what is drawn as an image
INK, FAINT, PALE = "#111111", "#767676", "#d9d9d9"
# Okabe and Ito's blue and vermilion (2008, published-from-memory), dark and light enough to differ in grey, too.
HOME_COLOUR, OFFICE_COLOUR, AMBULATORY_COLOUR = "#0072b2", "#d55e00", "#555555"
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none", "font.family": "sans-serif", "font.size": 10, "legend.fontsize": 9.5, "legend.frameon": False,
    "text.parse_math": False,  # a name may hold a dollar
    "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": FAINT, "xtick.color": INK, "ytick.color": INK,
}  # fmt: skip


def can_draw() -> bool:
    """Tell whether what draws plots is installed (the extra `pages`)."""
    return find_spec("matplotlib") is not None


def svg_of(name: str, width: float, height: float, draw: Draw) -> bytes:
    """Return a plot of a width and height in inches. Raises ModuleNotFoundError without the extra `pages`."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({**STYLE, "svg.hashsalt": name}):
        figure = Figure(figsize=(width, height), layout="constrained")
        draw(figure.add_subplot())
        written = BytesIO()
        figure.savefig(written, format="svg", dpi=DOTS, metadata={"Date": None, "Creator": None})
    return written.getvalue()


def as_source(svg: bytes) -> str:
    """Return a plot as what an image's `src` holds, so that a page needs nothing from elsewhere."""
    return f"data:image/svg+xml;base64,{b64encode(svg).decode()}"
