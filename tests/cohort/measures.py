"""How far what was said lies from the truth."""

from dataclasses import dataclass

import numpy as np

from cohort.judging import Judged, limit_of
from cohort.simulation import Cohort

SAY_NO, SAY_YES = 0.1, 0.9  # between these the service's category counts as undetermined
YES, NO, UNDETERMINED = 1, 0, -1


@dataclass(frozen=True)
class Score:
    """Shares of all subjects left undetermined, and of the others classified wrongly."""

    wrong: float
    undetermined: float
    decided: int


def raised(pressures: np.ndarray, limit: tuple[float, float]) -> np.ndarray:
    return (pressures >= np.array(limit)[:, None]).any(axis=0)


def plain_mean(cohort: Cohort) -> np.ndarray:
    """Return the mean of every home reading written down."""
    return np.where(cohort.taken, cohort.home, 0).sum(axis=(2, 3, 4)) / cohort.taken.sum(axis=(1, 2, 3))


def protocol_mean(cohort: Cohort, discard_days: int) -> np.ndarray:
    """Return the protocol's mean with no judgement of technique: first two of a sitting, first days discarded."""
    taken = cohort.taken[:, discard_days:, :, :2]
    return np.where(taken, cohort.home[:, :, discard_days:, :, :2], 0).sum(axis=(2, 3, 4)) / taken.sum(axis=(1, 2, 3))


def verdicts(judged: Judged, say_no: float = SAY_NO, say_yes: float = SAY_YES, must_hold: bool = False) -> np.ndarray:
    """Return for each subject whether the service's answer is read as raised, not raised or undetermined."""
    chance = judged.probability
    said = np.select([chance >= say_yes, chance <= say_no], [YES, NO], UNDETERMINED)
    unsure = ~judged.given | (must_hold & ~judged.holds)
    return np.where(unsure, UNDETERMINED, said)


def by_sound(judged: Judged, limit: tuple[float, float]) -> np.ndarray:
    """Return what the mean of the sound home readings says; undetermined where there is none."""
    return np.where(np.isnan(judged.sound[0]), UNDETERMINED, raised(judged.sound, limit))


def score(said: np.ndarray, truth: np.ndarray) -> Score:
    decided = said != UNDETERMINED
    wrong = float((said[decided] != truth[decided]).mean()) if decided.any() else np.nan
    return Score(wrong, float(1 - decided.mean()), int(decided.sum()))


def coverage(judged: Judged, truth: np.ndarray) -> np.ndarray:
    """Return, for each pressure, how often the 95 % interval of these days holds the truth, where there is one."""
    return held(judged.low, judged.high, truth)


def held(low: np.ndarray, high: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Return, for each pressure, how often an interval holds the truth, where there is one."""
    known = ~np.isnan(low)
    return ((low <= truth) & (truth <= high) & known).sum(axis=1) / known.sum(axis=1)


def brier(chance: np.ndarray, truth: np.ndarray) -> float:
    known = ~np.isnan(chance)
    return float(((chance[known] - truth[known]) ** 2).mean())


def calibration_slope(chance: np.ndarray, truth: np.ndarray) -> float:
    """Return the slope of a logistic regression of the truth on the logit of what was said: 1 where neither is bolder."""
    from statsmodels.api import Logit, add_constant

    said = np.clip(chance[~np.isnan(chance)], 0.0005, 0.9995)
    fitted = Logit(truth[~np.isnan(chance)].astype(float), add_constant(np.log(said / (1 - said)))).fit(disp=False)
    return float(fitted.params[1])


def reliability(chance: np.ndarray, truth: np.ndarray) -> list[tuple[float, float, int]]:
    """Return mean probability, share true and count of each tenth of the probability's range that has any."""
    known = ~np.isnan(chance)
    tenth = np.minimum((chance[known] * 10).astype(int), 9)
    return [
        (float(chance[known][tenth == one].mean()), float(truth[known][tenth == one].mean()), int((tenth == one).sum()))
        for one in np.unique(tenth)
    ]


@dataclass(frozen=True)
class Detection:
    """How well office-only elevation is told: shares of those who have it, of those who do not, of those named."""

    sensitivity: float
    false_alarms: float
    right_when_named: float
    undetermined: float
    prevalence: float


def detection(named: np.ndarray, truth: np.ndarray, undetermined: float) -> Detection:
    return Detection(float(named[truth].mean()), float(named[~truth].mean()), float(truth[named].mean()), undetermined,
                     float(truth.mean()))  # fmt: skip


def office_only(office: np.ndarray, home: np.ndarray, guideline: str) -> np.ndarray:
    return raised(office, limit_of(guideline, "office")) & ~raised(home, limit_of(guideline, "home"))
