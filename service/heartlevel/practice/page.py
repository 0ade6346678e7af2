"""The figures of a practice as one page that needs nothing else: no script, no picture, no request."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from heartlevel.handouts.rendering import style_digest, templates_of
from heartlevel.ruling.language.ruleset import DEFAULT_LANGUAGE, RuleSet

STYLE = Path(__file__).with_name("page.css")
KINDS = {"technique": "how it was measured", "series": "days and sittings", "device": "device", "entry": "slip of entry"}
GROUPINGS = {"setting": "Where it was taken", "taken_by": "Who took it", "device": "Device", "site": "Limb"}
ROOMS = {"office": "in the office", "home": "at home", "anywhere": "wherever"}


def practice_page(figures: Mapping[str, Any], rules: RuleSet) -> str:
    """Return the page of `practice_figures`, in English; the cautions are those of the rules."""
    style = STYLE.read_text()
    digest = style_digest(style)
    environment = templates_of("heartlevel.practice")
    environment.filters |= {"told": _told, "words": _words, "percent": _percent, "span": _span, "signed": _signed}
    return environment.get_template("page.html").render(
        figures=figures, faults={fault["rule"]: fault for fault in figures["faults"]}, style=Markup(style), digest=digest,  # noqa: S704
        cautions=rules.wording[DEFAULT_LANGUAGE].cautions, kinds=KINDS, groupings=GROUPINGS, rooms=ROOMS,
    )  # fmt: skip


def _told(number: int | None) -> str:
    return "not told" if number is None else f"{number:,}"


def _words(code: str) -> str:
    return code.replace("-", " ").replace("_", " ")


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _signed(number: float | None) -> str:
    return "–" if number is None else f"{number:+.1f}".replace("-", "−")


def _span(ends: Sequence[float] | None) -> str:
    """Return a range of mm[Hg]; one number where both ends are the same."""
    if ends is None:
        return "–"
    return _signed(ends[0]) if ends[0] == ends[1] else f"{_signed(ends[0])} to {_signed(ends[1])}"
