"""What the findings make of each reading: sound, doubtful or unusable."""

import numpy as np

from heartlevel.columns import Ints
from heartlevel.intake.batch import Batch
from heartlevel.ruling.running.verdicts import Verdicts


def reliability_of(batch: Batch, on_readings: Verdicts, on_sittings: Verdicts) -> Ints:
    """Return each reading's worst effect, of its own findings and its sitting's, as an index in RELIABILITIES."""
    return np.maximum(_worst(on_readings), _worst(on_sittings)[batch.sitting_of])


def _worst(verdicts: Verdicts) -> Ints:
    effects = np.array([rule.effect for rule in verdicts.rules], dtype=np.int8)
    worst: Ints = (verdicts.fired() * effects[:, None]).max(axis=0, initial=0).astype(np.int64)
    return worst
