"""The pulse at rest by way of measuring, averaged as the pressures are."""

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
    sd: float  # between readings; NaN for one
    days: float


def resting_pulses(assessment: Assessment) -> list[list[RestingPulse]]:
    """Return each subject's pulse of each side of which one was recorded among the readings averaged."""
    averages, row = assessment.averages, assessment.averages.row("protocol")
    by_subject: list[list[RestingPulse]] = [[] for _ in assessment.batch.requests]
    for side, setting in RESTING.items():
        groups = slice(SETTINGS.index(setting), None, len(SETTINGS))
        columns = (column[PULSE, row, groups].tolist() for column in (averages.mean, averages.sd, averages.day_count))
        for own, mean, sd, days in zip(by_subject, *columns, strict=True):
            if mean == mean:
                own.append(RestingPulse(side, mean, sd, days))
    return by_subject
