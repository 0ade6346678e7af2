"""Facts of following up: readings of earlier periods, on which nothing is concluded; the pulse."""

import numpy as np

from heartlevel.columns import Floats, extreme_by
from heartlevel.facts.catalogue import derived
from heartlevel.facts.series import Subjects
from heartlevel.kernels import sittings
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


def _second_pulses(facts: Subjects) -> Floats:
    """Return the second-highest and the second-lowest pulse (rows) of each sitting; NaN for a single one."""
    batch, chosen = facts.source.batch, facts.source.usable.view(np.uint8)
    highest, second_highest, lowest, second_lowest = np.full((4, batch.sittings), np.nan)
    pulse = batch.readings["pulse"]
    sittings.find_second_extremes(chosen, batch.sitting_of, pulse, highest, second_highest, lowest, second_lowest)
    return np.array([second_highest, second_lowest])


def _second(facts: Subjects, largest: bool) -> Floats:
    """Return the farthest pulse that two readings of one sitting reach: above, or below."""
    batch, second = facts.source.batch, facts.once(_second_pulses)[0 if largest else 1]
    return extreme_by(batch.subject_of_sitting, len(batch.requests), second, largest=largest)


derived("series", "pulse_repeated_high", "largest second-highest pulse of a sitting",
        "Highest pulse that two readings of one sitting reach", _second, True, unit="/min", asked=False)  # fmt: skip
derived("series", "pulse_repeated_low", "smallest second-lowest pulse of a sitting",
        "Lowest pulse that two readings of one sitting go down to", _second, False, unit="/min", asked=False)  # fmt: skip
