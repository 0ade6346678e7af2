"""What the findings make of each reading: sound, doubtful or unusable."""

import numpy as np

from heartlevel.columns import Ints
from heartlevel.intake.batch import Batch
from heartlevel.ruling.running.verdicts import Verdicts


def reliability_of(batch: Batch, on_readings: Verdicts, on_sittings: Verdicts) -> Ints:
    """Return each reading's worst effect, of its own findings and its sitting's, as an index in RELIABILITIES."""
    own = _worst(on_readings, batch.size)
    return np.maximum(own, _worst(on_sittings, batch.sittings)[batch.sitting_of]) if batch.size else own


def _worst(verdicts: Verdicts, rows: int) -> Ints:
    worst, fired = np.zeros(rows, dtype=np.int64), verdicts.fired()
    for effect in sorted({rule.effect for rule in verdicts.rules} - {0}):
        having_effect = [row for row, rule in enumerate(verdicts.rules) if rule.effect == effect]
        worst[fired[having_effect].any(axis=0)] = effect
    return worst
