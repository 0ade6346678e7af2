"""The level of each event: the rule's, raised or lowered by the ladder for symptoms, for none, for what no one can have."""

import numpy as np

from heartlevel.assessment import Assessment
from heartlevel.columns import Bools, Floats, Ints
from heartlevel.conclusions.urgency.events import HIGH, LOW, SYMPTOMS, UNREADABLE, Events, in_maternity
from heartlevel.profiles import Ladder
from heartlevel.vocabulary import PRESSURES, URGENCY_LEVELS

NOW, SAME_DAY, CANNOT_BE_TOLD, WITHIN_DAYS, HISTORY, NONE = range(len(URGENCY_LEVELS))
LISTS = {"high": (HIGH, UNREADABLE), "low": (LOW,), "any": (SYMPTOMS,)}  # of symptoms, by what they come with


def event_levels(assessment: Assessment, events: Events) -> Ints:
    """Return each event's level as its number in URGENCY_LEVELS; the lower the more urgent."""
    ladder, maternity = assessment.rules.ladder, in_maternity(assessment)[events.subject]
    level = np.where(_unbelieved(assessment, events), np.maximum(events.level, CANNOT_BE_TOLD), events.level)
    without = (events.kind == HIGH) & (events.bits == 0) & ~maternity
    level = np.where(without, np.maximum(level, ladder.without_symptoms), level)
    return np.minimum(level, symptom_levels(ladder, events, maternity))


def symptom_levels(ladder: Ladder, events: Events, maternity: Bools) -> Ints:
    """Return the level that each event's symptoms make by themselves."""
    level = np.full(len(events.subject), NONE)
    for beside, kinds in LISTS.items():
        rows = np.isin(events.kind, kinds)
        level[rows] = _by_list(ladder, beside, events.bits[rows])
    return np.where(maternity, np.minimum(level, _by_list(ladder, "maternity", events.bits)), level)


def _by_list(ladder: Ladder, beside: str, bits: Floats) -> Ints:
    whole = np.nan_to_num(bits).astype(np.int64)
    level = np.full(len(bits), NONE)
    for tier, listed in ladder.symptoms[beside]:
        level = np.minimum(level, np.where((whole & listed) != 0, tier, NONE))
    return level


def _unbelieved(assessment: Assessment, events: Events) -> Bools:
    """Mark events whose number is beyond what any pressure is, and the other number is not severe by itself."""
    believed = assessment.rules.ladder.believed_up_to
    severe = np.array([[guideline.limits[f"severe.{name}"] for guideline in assessment.guidelines] for name in PRESSURES])
    beyond = [events.pressures[at] > believed[at] for at in range(len(PRESSURES))]
    alone = [~beyond[at] & (events.pressures[at] >= severe[at, events.subject]) for at in range(len(PRESSURES))]
    unbelieved: Bools = (events.kind == UNREADABLE) & np.logical_or(*beyond) & ~np.logical_or(*alone)
    return unbelieved
