"""By how much the technique of doubtful readings may have moved them: what decides whether a side still may speak."""

from collections.abc import Mapping
from typing import Any

from heartlevel.columns import Columns
from heartlevel.facts.series import Doubt
from heartlevel.intake.batch import Batch
from heartlevel.ruling.effects.known_errors import strongest_errors
from heartlevel.ruling.running.verdicts import Verdicts


def doubt_of(batch: Batch, verdicts: Mapping[str, Verdicts], facts: Mapping[str, Columns[Any]]) -> Doubt:
    """Return each reading's doubt, of its own findings and its sitting's.

    The strongest fault of each direction counts, by the far end of its published range or its computed amount: errors are
    never added up, and one more fault never makes less of the others.
    """
    errors = strongest_errors(batch, verdicts, facts, lambda bounds: max(map(abs, bounds)))
    return Doubt(errors.high, errors.low, errors.unsized)
