"""For whom something is urgent."""

from collections.abc import Sequence

import numpy as np

from heartlevel.columns import Bools
from heartlevel.conclusions.findings import Firing


def urgent_subjects(firings: Sequence[Firing], subjects: int) -> Bools:
    """Mark, of so many subjects, those for whom an urgent rule fires."""
    urgent = np.zeros(subjects, dtype=np.bool_)
    for firing in firings:
        if firing.rule.urgent:
            urgent[firing.subjects] = True
    return urgent
