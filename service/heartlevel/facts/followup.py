"""Facts of following up: readings of earlier periods, on which nothing is concluded."""

import numpy as np

from heartlevel.columns import Floats
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
