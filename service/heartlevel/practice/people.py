"""How many people and readings there are, what is urgent, and what categories rest on."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from heartlevel.columns import Bools
from heartlevel.practice.folder import Folder, Texts, marked
from heartlevel.vocabulary import URGENCY_LEVELS

READING_COUNTS = ("readings_received", "readings_assessed", "readings_lost")
# How much of what a category is averaged from nobody documented.
ALL, MOST, SOME, NONE = SHARES = ("all", "half-or-more", "less-than-half", "none")


@dataclass
class PeopleCounts:
    """Counts over all subjects of a folder."""

    people: int = 0  # by name
    assessments: int = 0
    urgent: int = 0
    urgency: Counter[str] = field(default_factory=Counter)
    readings: Counter[str] = field(default_factory=Counter)
    categories: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)  # why there is no category
    not_documented: Counter[str] = field(default_factory=Counter)  # of those with a category, by SHARES
    doubtful_alone: int = 0  # categories of which every reading is doubtful
    rules: set[str] = field(default_factory=set)  # fingerprints


def people_counts(folder: Folder) -> PeopleCounts:
    """Count the subjects of a folder."""
    counts = PeopleCounts(people=len(folder.people))
    for rows in folder.batches("subjects"):
        counts.assessments += len(rows["subject"])
        counts.urgent += int(rows["urgent"].sum())
        for name in READING_COUNTS:
            counts.readings[name] += int(rows[name].sum())
        counts.categories += _by_text(rows["category"])
        counts.reasons += _by_text(rows["reason"])
        counts.urgency += Counter({level: int(marked(rows["urgency"], level).sum()) for level in URGENCY_LEVELS})
        counts.rules |= set(rows["rules_fingerprint"].names)
        behind, wanting = rows["category_readings"], rows["category_not_documented"]
        there = behind > 0
        counts.not_documented += _shares(there, wanting, behind)
        counts.doubtful_alone += int((there & (rows["category_doubtful"] == behind)).sum())
    return counts


def _shares(there: Bools, wanting: Bools, behind: Bools) -> Counter[str]:
    marks = np.select([wanting == behind, 2 * wanting >= behind, wanting > 0], [0, 1, 2], 3)
    return Counter({name: int((there & (marks == at)).sum()) for at, name in enumerate(SHARES)})


def _by_text(column: Texts) -> Counter[str]:
    counts = np.bincount(column.codes[column.codes >= 0], minlength=len(column.names)).tolist()
    return Counter({name: count for name, count in zip(column.names, counts, strict=True) if count})
