"""What the findings make of each reading: sound, not documented, doubtful or unusable."""

from collections.abc import Sequence

import numpy as np

from heartlevel.columns import Bools, Ints
from heartlevel.intake.batch import Batch
from heartlevel.ruling.running.verdicts import Verdicts
from heartlevel.vocabulary import RELIABILITIES

SOUND, NOT_DOCUMENTED = (RELIABILITIES.index(name) for name in ("sound", "not-documented"))
BY_EFFECT = np.array([SOUND, RELIABILITIES.index("doubtful"), RELIABILITIES.index("unusable")])  # as in EFFECTS


def reliability_of(batch: Batch, on_readings: Verdicts, on_sittings: Verdicts, technique: Sequence[str]) -> Ints:
    """Return what the worst effect of its own findings and its sitting's makes of each reading, as in RELIABILITIES.

    A reading without such a finding is not documented where none of the facts of `technique` was recorded.
    """
    worst = np.maximum(_worst(on_readings), _worst(on_sittings)[batch.sitting_of])
    reliability = BY_EFFECT[worst]
    return np.where((reliability == SOUND) & ~_documented(batch, technique), NOT_DOCUMENTED, reliability)


def _documented(batch: Batch, technique: Sequence[str]) -> Bools:
    """Mark the readings of which any detail of technique was recorded."""
    documented: Bools = np.any(~np.isnan([batch.readings[name] for name in technique]), axis=0)
    return documented


def _worst(verdicts: Verdicts) -> Ints:
    effects = np.array([rule.effect for rule in verdicts.rules], dtype=np.int8)
    worst: Ints = (verdicts.fired() * effects[:, None]).max(axis=0, initial=0).astype(np.int64)
    return worst
