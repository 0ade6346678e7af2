"""The pulse at rest by way of measuring, averaged as the pressures are."""

from collections.abc import Iterator
from dataclasses import dataclass

from heartlevel.assessment import Assessment
from heartlevel.statistics.averages import QUANTITIES
from heartlevel.vocabulary import SETTINGS

PULSE = QUANTITIES.index("pulse")
# Sides, and the settings that their readings are taken in; ambulatory pulses are not of rest.
RESTING = {"home": "home", "office-attended": "office", "office-unattended": "office-unattended"}


@dataclass(frozen=True, slots=True)
class RestingPulse:
    """The average pulse of one side (a minute), over the days on which it was recorded."""

    side: str
    mean: float
    sd: float | None  # between readings; None for one
    days: int


def resting_pulses(assessment: Assessment, subject: int) -> Iterator[RestingPulse]:
    """Yield the pulse of each side of which one was recorded among the readings averaged."""
    averages, row = assessment.averages, assessment.averages.row("protocol")
    for side, setting in RESTING.items():
        at = PULSE, row, subject * len(SETTINGS) + SETTINGS.index(setting)
        mean, sd = float(averages.mean[at]), float(averages.sd[at])
        if mean == mean:
            yield RestingPulse(side, mean, sd if sd == sd else None, int(averages.day_count[at]))
