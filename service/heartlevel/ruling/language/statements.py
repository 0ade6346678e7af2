"""The statements that a conclusion is made of, and what each can show. Wording files say them to each reader."""

from collections.abc import Mapping
from dataclasses import dataclass

from heartlevel.facts.catalogue import Fact
from heartlevel.ruling.language.template import Template
from heartlevel.vocabulary import MMHG, RELIABILITIES, SETTINGS

READERS = ("clinician", "patient")
NUMBER, TEXT = "number", "text"


def _slots(**units: str | None) -> dict[str, Fact]:
    """Return what a statement can show: numbers by their unit, texts without one."""
    return {
        name: Fact(name, "conclusion", NUMBER if unit else TEXT, unit, "concluded", name.replace("_", " "))
        for name, unit in units.items()
    }


_SIDE = _slots(side=None, systolic=MMHG, diastolic=MMHG, days="d")
_OTHER = _slots(other_side=None, other_systolic=MMHG, other_diastolic=MMHG, other_days="d")
_JUDGED = _slots(sureness=None, category=None, guideline=None)
_REASON, _STEP = _slots(side=None, reason=None), _slots(step=None)
_LEVEL = _slots(told=None)
_COUNTS = _slots(home_readings="1", home_days="d", office_readings="1")
_LIMITED = _slots(guideline=None, low=None)
_TARGET = _slots(side=None, target=None, guideline=None, sureness=None)
_CHANGE = _slots(side=None, before=None, now=None, since=None)

# In the order in which they stand in a conclusion.
STATEMENTS: Mapping[str, Mapping[str, Fact]] = {
    **{f"urgency-{level}": _LEVEL for level in ("now", "same-day", "within-days", "cannot-be-told", "history")},
    **dict.fromkeys(("good-week", "not-raised", "between", "raised", "too-near-the-limit"), _SIDE | _JUDGED),
    "unclear-by-errors": _SIDE | _JUDGED | _REASON,
    **dict.fromkeys(("raised-by-numbers", "not-raised-by-numbers"), _SIDE | _JUDGED),
    "low": _SIDE | _JUDGED | _LIMITED,
    **dict.fromkeys(("both-raised", "office-only", "outside-only", "neither-raised"),
                    _SIDE | _OTHER | _JUDGED),
    "not-relied-on": _SIDE | _REASON,
    "no-limit": _SIDE | _slots(guideline=None),
    "too-few": _COUNTS,
    "too-few-ambulatory": _COUNTS | _slots(ambulatory_readings="1"),
    "no-limits-there": _slots(readings="1"),
    "nothing-sent": {},
    "nothing-usable": _slots(readings="1"),
    "nothing-usable-because": _slots(readings="1") | _REASON,
    "too-young": _slots(years="a"),
    "limits-unclear": {},
    "falls-on-standing": {},
    **dict.fromkeys(("low-besides", "low-diastolic"), _SIDE | _LIMITED),
    **dict.fromkeys(("says-otherwise-raised", "says-otherwise-not-raised", "beside-raised", "beside-not-raised"), _SIDE),
    "even-so": _REASON,
    "not-compared": _REASON,
    **{f"target-{state}": _TARGET for state in ("attained", "not-attained", "below", "cannot-be-told")},
    **{f"change-{state}": _CHANGE for state in ("lower", "lower-from-high", "higher")},
    "first": _STEP,
}  # fmt: skip
# Words that a statement shows for what a side is called and how sure something is, by key.
WORDS = (
    "home", "office-attended", "office-unattended", "ambulatory-24h", "ambulatory-day", "ambulatory-night",
    "almost-certain", "probable", "as-measured", "own-target",
)  # fmt: skip
# Words of the summary that the command writes.
SUMMARY_WORDS = (
    *SETTINGS,
    *RELIABILITIES,
    "urgent",
    "readings",
    "days",
    "lost",
    "findings",
    "next-steps",
    "problems",
    "more",
    "day-plot",
    "day-plot-limit",
)


@dataclass(frozen=True, slots=True)
class ConclusionTexts:
    """One language's sentences for each reader by statement, and its words for sides and sureness."""

    words: Mapping[str, str]
    sentences: Mapping[str, Mapping[str, Template]]
