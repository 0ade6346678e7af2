"""Print how the service does against the truth of a simulated cohort.

`python tests/cohort/report.py --subjects 2000 --seed 1`; `--parameters` prints what the people are made of instead,
`--page` writes the short page README.md beside this file.
No test asks for these tables. They hold for the simulated people, and for patients only as far as the parameters do.
"""

import argparse
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import perf_counter

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent / "service")]

import numpy as np  # noqa: E402

from cohort import cost, measures  # noqa: E402
from cohort.judging import Judged, home_limit, judge, limit_of, population_of  # noqa: E402
from cohort.page import CLEAN, DAYS, DISCARDED, ERRORS, SCENARIOS, page  # noqa: E402
from cohort.parameters import table  # noqa: E402
from cohort.simulation import Cohort, Scenario, simulate  # noqa: E402

SAMPLING = Scenario(transients=False, habits_of_writing=False)
SOURCES = {
    "day-to-day noise only, two readings twice a day": SAMPLING,
    "… and a higher first day and first readings": SAMPLING.but(transients=True),
    "… and digits, missed sittings, third readings (= clean)": CLEAN,
    "clean, days correlated 0.2": CLEAN.but(day_correlation=0.2),
    "clean, days correlated 0.4": CLEAN.but(day_correlation=0.4),
    "clean, weeks differ by their published SD": CLEAN.but(drift=True),
    "technique errors and inexact devices": ERRORS,
}


@dataclass(frozen=True)
class Run:
    """A scenario judged under a guideline."""

    guideline: str
    cohort: Cohort
    judged: Judged

    @property
    def truth(self) -> np.ndarray:
        return measures.raised(self.cohort.home_truth, home_limit(self.guideline)).astype(int)


def run(subjects: int, seed: int, of: tuple[str, Scenario]) -> Run:
    guideline, scenario = of
    cohort = simulate(subjects, seed, scenario)
    return Run(guideline, cohort, judge(cohort, guideline, population_of(cohort) if scenario.people_known else None))


def runs(subjects: int, seed: int, scenarios: Iterable[Scenario]) -> dict[tuple[str, Scenario], Run]:
    """Judge every scenario that a table needs once, on two processors."""
    wanted = {(guideline, scenario): None for guideline in DISCARDED for scenario in scenarios}
    with ProcessPoolExecutor(2) as pool:
        return dict(zip(wanted, pool.map(partial(run, subjects, seed), wanted), strict=True))


def share_of(value: float, count: float) -> str:
    """Write a share in per cent with its binomial standard error."""
    return f"{100 * value:5.1f} ±{100 * np.sqrt(value * (1 - value) / count):3.1f}" if count else f"{'–':>10}"


def misclassified(one: Run) -> None:
    truth, limit, discard = one.truth, home_limit(one.guideline), DISCARDED[one.guideline]
    means = {"plain mean": measures.plain_mean(one.cohort), "protocol mean": measures.protocol_mean(one.cohort, discard)}
    ways = {name: measures.raised(mean, limit).astype(int) for name, mean in means.items()}
    ways["service, 0.1–0.9"] = measures.verdicts(one.judged)
    ways["service, 0.1–0.9, holds"] = measures.verdicts(one.judged, must_hold=True)
    ways["service, 0.05–0.95"] = measures.verdicts(one.judged, 0.05, 0.95)
    ways["service, 0.2–0.8"] = measures.verdicts(one.judged, 0.2, 0.8)
    ways["service, holds alone"] = measures.verdicts(one.judged, 0.5, 0.5, must_hold=True)
    firm = ways["service, 0.1–0.9"]
    ways["… and not mostly doubtful"] = np.where(one.judged.doubtful, measures.UNDETERMINED, firm)
    ways["mean of sound readings"] = measures.by_sound(one.judged, limit)
    print(f"  {'way':<26}{'wrong %':>12}{'undetermined %':>16}   protocol mean wrong on the same %")
    for name, said in ways.items():
        found = measures.score(said, truth)
        decided = said != measures.UNDETERMINED
        same = float((ways["protocol mean"][decided] != truth[decided]).mean()) if decided.any() else np.nan
        print(f"  {name:<26}{share_of(found.wrong, found.decided):>12}{share_of(found.undetermined, truth.size):>16}"
              f"   {100 * same:5.1f}")  # fmt: skip


def covered(one: Run, settled: bool = False) -> str:
    truth = one.cohort.settled_truth if settled else one.cohort.home_truth
    found, count = measures.coverage(one.judged, truth), (~np.isnan(one.judged.low)).sum(axis=1)
    width = np.nanmedian(one.judged.high - one.judged.low, axis=1)
    off = np.nanmean((one.judged.high + one.judged.low) / 2 - truth, axis=1)
    shares = "  ".join(share_of(value, of) for value, of in zip(found, count, strict=True))
    return f"{shares}   width {width[0]:4.1f}/{width[1]:4.1f}  centre off {off[0]:+5.2f}/{off[1]:+5.2f}"


def calibrated(one: Run) -> None:
    chance, truth = one.judged.probability, one.truth
    base = float(truth.mean())
    print(f"  Brier {measures.brier(chance, truth):.4f} (always the share raised, {base:.3f}: {base * (1 - base):.4f})")
    print(f"  {'mean probability':>18}{'raised':>14}{'n':>7}")
    for said, true, count in measures.reliability(chance, truth):
        print(f"  {said:>18.3f}{share_of(true, count):>14}{count:>7}")


def by_days(of: Callable[[Scenario], Run], scenario: Scenario) -> None:
    """Write, for each number of days, the Brier score and how often three ways are wrong or leave it open."""
    print(f"  {'days':>4}{'Brier':>9}{'plain wrong %':>15}{'protocol wrong %':>18}{'service wrong %':>17}"
          f"{'undetermined %':>16}")  # fmt: skip
    for days in DAYS:
        one = of(scenario.but(days=days))
        limit, truth = home_limit(one.guideline), one.truth
        means = measures.plain_mean(one.cohort), measures.protocol_mean(one.cohort, DISCARDED[one.guideline])
        plain, protocol = (measures.score(measures.raised(mean, limit).astype(int), truth) for mean in means)
        service = measures.score(measures.verdicts(one.judged), truth)
        shares = [share_of(way.wrong, way.decided) for way in (plain, protocol, service)]
        print(f"  {days:>4}{measures.brier(one.judged.probability, truth):>9.4f}{shares[0]:>15}{shares[1]:>18}"
              f"{shares[2]:>17}{share_of(service.undetermined, truth.size):>16}")  # fmt: skip


def office_only(one: Run) -> None:
    """Compare with what the truth's own office average, by the protocol's choice of readings, would show."""
    last_two = one.guideline == "esh-2023"
    office = one.cohort.office_settled_truth if last_two else one.cohort.office_truth
    truth = measures.office_only(office, one.cohort.home_truth, one.guideline)
    visit = one.cohort.office[:, :, 0].mean(axis=-1)
    both = one.cohort.office[..., 1:].mean(axis=(2, 3)) if last_two else one.cohort.office.mean(axis=(2, 3))
    home = measures.plain_mean(one.cohort)
    label = one.judged.label
    ways = {
        "plain means, one visit": (measures.office_only(visit, home, one.guideline), 0.0),
        "plain means, two visits": (measures.office_only(both, home, one.guideline), 0.0),
        "service's pattern": (label == "office-only-elevation", float((label == "undetermined").mean())),
    }
    print(f"  {100 * truth.mean():.1f} % have it")
    print(f"  {'way':<26}{'found %':>12}{'false alarms %':>16}{'right when named %':>20}{'undetermined %':>16}")
    for name, (named, unsure) in ways.items():
        found = measures.detection(named, truth, unsure)
        shares = [(found.sensitivity, truth), (found.false_alarms, ~truth), (found.right_when_named, named)]
        first, second, third = (share_of(value, of.sum()) for value, of in shares)
        print(f"  {name:<26}{first:>12}{second:>16}{third:>20}{100 * unsure:>16.1f}")


def under(guideline: str, of: Callable[[Scenario], Run]) -> None:
    office, home = limit_of(guideline, "office"), home_limit(guideline)
    print("\n==== {}: home {:g}/{:g}, office {:g}/{:g} ====".format(guideline, *home, *office))
    for title, table_of in {"Classification, 7 days": misclassified, "Calibration of the probability at the home limit,"
                            " 7 days": calibrated, "Office-only elevation, 7 days": office_only}.items():  # fmt: skip
        for name, scenario in {"clean": CLEAN, "with errors": ERRORS}.items():
            print(f"\n{title}, {name}")
            table_of(of(scenario))
    for name, scenario in {"clean": CLEAN, "with errors": ERRORS}.items():
        print(f"\nClassification by days measured, {name}; a mean leaves nobody undetermined")
        by_days(of, scenario)
        for days in DAYS[::3]:
            print(f"\nCalibration of the probability at the home limit, {days} days, {name}")
            calibrated(of(scenario.but(days=days)))
    print("\nCoverage of the 95 % intervals, systolic and diastolic, %")
    for name, scenario in {"clean": CLEAN, "with errors": ERRORS}.items():
        for days in DAYS:
            print(f"  {name:<12}{days:>3} days   {covered(of(scenario.but(days=days)))}")
    print("\nWhere the coverage goes, 7 days")
    for name, scenario in SOURCES.items():
        print(f"  {name:<58}{covered(of(scenario))}")
    print(f"  {'clean, against the mean without the first reading’s effect':<58}{covered(of(CLEAN), settled=True)}")
    print(f"  with errors, technique found mostly doubtful: {100 * of(ERRORS).judged.doubtful.mean():.1f} % of people")


def write_page(subjects: int, seed: int) -> None:
    found = runs(subjects, seed, SCENARIOS)
    of = {key: (one.cohort, one.judged) for key, one in found.items()}
    written = page(lambda guideline, scenario: of[guideline, scenario], subjects, seed, cost.ratios())
    (HERE / "README.md").write_text(written)


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--subjects", type=int, default=2000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--parameters", action="store_true", help="print the table of parameters and stop")
    words.add_argument("--page", action="store_true", help="write the page README.md")
    given = words.parse_args()
    if given.parameters:
        print(table())
        return
    if given.page:
        write_page(given.subjects, given.seed)
        return
    start = perf_counter()
    by_days = [scenario.but(days=days) for scenario in (CLEAN, ERRORS) for days in DAYS]
    found = runs(given.subjects, given.seed, [*by_days, *SOURCES.values()])
    print(f"{given.subjects} subjects, seed {given.seed}; ± is the binomial standard error; "
          f"{len(found)} scenarios in {perf_counter() - start:.0f} s")  # fmt: skip
    for guideline in DISCARDED:
        under(guideline, lambda scenario, guideline=guideline: found[guideline, scenario])


if __name__ == "__main__":
    main()
