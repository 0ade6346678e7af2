"""Facts of following up: readings of earlier periods, on which nothing is concluded; the pulse."""

import numpy as np

from heartlevel.columns import Floats, Ints, extreme_by, run_starts
from heartlevel.facts.catalogue import derived
from heartlevel.facts.series import Subjects
from heartlevel.statistics.selection import HOME, OFFICE


def _earlier(facts: Subjects, setting: int) -> Floats:
    batch = facts.source.batch
    if batch.current is None:  # most requests have one period
        return np.zeros(len(batch.requests))
    return facts.source.count(~batch.current & (batch.setting == setting))


for _name, _setting in (("home", HOME), ("office", OFFICE)):
    derived("series", f"earlier_{_name}_readings", f"{_name} readings of other periods than the latest, usable or not",
            f"{_name.capitalize()} readings of earlier periods", _earlier, _setting, unit="1", asked=False)  # fmt: skip
    derived("series", f"{_name}_pulse", f"mean pulse of the {_name} readings that the protocol averages",
            f"Average pulse of the {_name} readings",
            lambda facts, setting: facts.source.figure("pulse", setting, "protocol"), _setting,
            unit="/min", asked=False)  # fmt: skip


def _by_pulse(facts: Subjects) -> tuple[Ints, Ints, Ints]:
    """Return the usable readings by sitting and then pulse, and where each sitting of several begins and ends in them."""
    batch, pulse = facts.source.batch, facts.source.readings["pulse"]
    rows = np.flatnonzero(facts.source.usable & ~np.isnan(pulse))
    rows = rows[np.lexsort((pulse[rows], batch.sitting_of[rows]))]
    starts = np.flatnonzero(run_starts(batch.sitting_of[rows]))
    ends = np.append(starts[1:], len(rows))
    repeated = ends - starts > 1
    return rows, starts[repeated], ends[repeated]


def _second(facts: Subjects, sign: int) -> Floats:
    """Return the farthest pulse that two readings of one sitting reach: above for a sign of 1, below for −1."""
    batch, (rows, starts, ends) = facts.source.batch, facts.once(_by_pulse)
    second = rows[ends - 2 if sign > 0 else starts + 1]
    return extreme_by(batch.subject_of[second], len(batch.requests), batch.readings["pulse"][second], largest=sign > 0)


derived("series", "pulse_repeated_high", "largest second-highest pulse of a sitting",
        "Highest pulse that two readings of one sitting reach", _second, 1, unit="/min", asked=False)  # fmt: skip
derived("series", "pulse_repeated_low", "smallest second-lowest pulse of a sitting",
        "Lowest pulse that two readings of one sitting go down to", _second, -1, unit="/min", asked=False)  # fmt: skip
