"""The short page of figures: how the service does against the truth, beside its targets."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date

import numpy as np

from cohort import measures
from cohort.cost import Ratio
from cohort.judging import Judged, alternative_names, home_limit, limit_of, reached
from cohort.simulation import Cohort, Scenario
from heartlevel.statistics.sureness.more_days import AHEAD, SURE
from heartlevel.vocabulary import PATTERNS

CLEAN, ERRORS = Scenario(), Scenario(errors=True)
DAYS = (3, 5, 7, 10, 14)
CLEAN_BY_DAYS = tuple(CLEAN.but(days=days) for days in DAYS)
THREE_VISITS = CLEAN.but(visits=3)  # two days in the office give no probability of a pattern
KNOWN_BY_DAYS, ERRORS_KNOWN = tuple(one.but(people_known=True) for one in CLEAN_BY_DAYS), ERRORS.but(people_known=True)
# Where days do not tell all of the long run.
LIKE_NO_MODEL = {
    "days independent (clean)": CLEAN,
    "days correlated by 0.4": CLEAN.but(day_correlation=0.4),
    "0.3, habituation, weekdays, heavy tails": CLEAN.but(day_correlation=0.3, habituation=True, weekdays=True,
                                                        heavy_tails=True),
    "weeks differ by 4.5/2.8": CLEAN.but(drift=True),
    "weeks differ, and days correlated by 0.3": CLEAN.but(drift=True, day_correlation=0.3),
}  # fmt: skip
IN_DAYS = {name: tuple(scenario.but(days=days) for days in DAYS) for name, scenario in LIKE_NO_MODEL.items()}
ONE_VISIT, TWO_VISITS = (CLEAN.but(visits=visits, drift=True) for visits in (1, 2))
NOTHING_RECORDED = TWO_VISITS.but(undocumented=True)
PEOPLE = {
    "general population": Scenario(drift=True),
    "treated": Scenario(drift=True, people="treated"),
    "untreated": Scenario(drift=True, people="untreated"),
    "general, named in the request": Scenario(drift=True, people_known=True),
    "untreated, named in the request": Scenario(drift=True, people="untreated", people_known=True),
}
SCENARIOS = (
    NOTHING_RECORDED,
    *PEOPLE.values(),
    *(scenario for several in IN_DAYS.values() for scenario in several),
    ONE_VISIT,
    TWO_VISITS,
    *CLEAN_BY_DAYS,
    *KNOWN_BY_DAYS,
    ERRORS,
    ERRORS_KNOWN,
    THREE_VISITS,
)
DISCARDED = {"acc-aha-2025": 0, "esh-2023": 1}  # days; as rules/protocols have it
Judging = Callable[[str, Scenario], tuple[Cohort, Judged]]

HEAD = """# How the service does where the truth is known

{subjects} simulated people, seed {seed}, {day}; made, and made again, by
`python tests/cohort/report.py --page --subjects {subjects} --seed {seed}`. The figures hold for the simulated people, whose
parameters and sources `--parameters` prints, and for patients as far as those hold. ± is one binomial standard error.
"Clean" is without technique errors, with a higher first day and first readings, digits and missed sittings; "errors" has
technique errors as often and as large as published, with 60 % of the details recorded, and inexact devices. What the
rules take as usual (`rules/ruleset.yaml`) comes in part from the publications that these people are made by.
"""


RELY = """## What a user may rely on

- The interval of *these days* holds the mean of the days that were measured, and nothing else: where weeks differ or days
  follow one another it misses the person's usual pressure far more often than one time in twenty.
- The interval of *the long run* holds the usual pressure some 94 to 95 times in 100 where weeks differ, and some 93 to 94
  where days follow one another besides (20,000 people by the arithmetic alone, with an error of 0.2; fewer are below).
  Where weeks do not differ it is wider than it need be (some 97 to 100 in 100): that is its price, since one week does not
  show how far a person's weeks differ.
- A probability is one of the long run. As measured it knows of no error that all readings share; the one that the answer
  states takes off what is known or usual of them, and is not told where a fault in half the readings has no published size.
- What is called probable comes true at least eight times in ten, almost certain nineteen times in twenty, for people made
  like these. Where habits are worse than the rules take them to be, it comes true less often.
- A pattern called probable is right in nine of ten people, though for one person it may be as little as the limit in the
  rules. Where technique was not recorded more people are left without one: two in five after two visits.
- A chance of being sure after more days is a chance. Where most people lie below the limits it is some 5 to 10 in 100 too
  high. More days of the same week help less than another week.

## Where targets are missed, and why

- Of the tenths of the probability of being raised some are off by more than 0.05. It takes no population as known: among
  people most of whom are lower than the limit what is raised is too high by chance more often than too low, and the other
  way about among people most of whom are higher. What is published of people at home (123/76 of a population, 132/77
  treated, 148/85 before treatment) lies on both sides of the limits, so that one population for all mends the first and
  harms the others: 128/76 (SD 15/9.5) for everybody takes the worst tenth at 135/85 from 0.09 to 0.05 among the first, and
  from 0.06 to 0.09 among people of 134/79. A practice that names its own (`options.population`) has better tenths, below.
  And where weeks do not differ a probability is less bold than it might be, as the interval is wider.
- After two visits more than 35 in 100 people are left without a pattern that is at least probable by limits of 130/80, most
  where nothing was recorded of technique. Lower limits do not mend it: with 0.6 for raised in both and in neither instead
  of 0.7, some 37 to 40 in 100 are still left there, and of those named after one visit only 88 to 89 in 100 are right; with
  0.5 some 36 are left, and fewer than 90 are right after two visits too (2,000 people).
"""
OF_PEOPLE = """Of the general population, patients after 16 weeks of treatment and before it
(`--parameters` has their sources), both guidelines together; "named" are requests that name these people's own mean and SD.
"""
OF_INTERVALS = """## Coverage of 95 % intervals, %: of the person's mean in the long run

*These days* is the interval of the days measured, held here against the long run, which it does not claim to hold; where
days are independent and weeks alike both are the same (target 94 to 96). *The long run* has the target 93 to 97 where weeks
differ or days are correlated, and 95 or more where they do not.
"""


def page(of: Judging, subjects: int, seed: int, ratios: Iterable[Ratio]) -> str:
    parts = [HEAD.format(subjects=subjects, seed=seed, day=date.today().isoformat())]
    parts += [
        RELY,
        *intervals(of),
        *mixed(of),
        *by_people(of),
        *named(of),
        *ahead(of),
        *calibration(of),
        *classification(of),
        *reasons(of),
        *office_only(of),
        *cost(ratios),
    ]
    return "\n".join(parts) + "\n"


def table(*rows: Sequence[str]) -> str:
    first, *others = ("| " + " | ".join(row) + " |" for row in rows)
    return "\n".join([first, "|" + "---|" * len(rows[0]), *others]) + "\n"


def share(value: float, count: float) -> str:
    return f"{100 * value:.1f} ±{100 * np.sqrt(value * (1 - value) / count):.1f}" if count else "–"


def intervals(of: Judging) -> Iterator[str]:
    yield OF_INTERVALS
    rows = []
    for name, several in IN_DAYS.items():
        for days, scenario in zip(DAYS, several, strict=True):
            cohort, judged = of("acc-aha-2025", scenario)
            shares = [
                share(one, (~np.isnan(low[0])).sum())
                for low, high in ((judged.low, judged.high), (judged.long_low, judged.long_high))
                for one in measures.held(low, high, cohort.home_truth)
            ]
            rows.append((name, str(days), *shares))
    yield table(("scenario", "days", "these days, systolic", "diastolic", "long run, systolic", "diastolic"), *rows)


def calibration(of: Judging) -> Iterator[str]:
    yield "## Calibration, clean: share true in each tenth of what was said (target: within 0.03)\n"
    yield ("Of the limit and the categories both guidelines and 5 to 14 days together, so that the same people count\n"
           "several times; of the patterns both guidelines, 7 days, three office visits. Known: `options.population`\n"
           "names the mean, SD and correlation of the simulated people's own long-run means.\n")  # fmt: skip
    plain, known = (pairs(of, scenarios) for scenarios in (CLEAN_BY_DAYS, KNOWN_BY_DAYS))
    every = {
        "at or above the home limit": [at_limit(*one) for one in plain],
        "the same, known": [at_limit(*one) for one in known],
        "`category_probability`": [by_category(*one) for one in plain],
        "the same of categories, known": [by_category(*one) for one in known],
        "`pattern.chances`": [of_patterns(guideline, *of(guideline, THREE_VISITS)) for guideline in DISCARDED],
    }
    yield table(("tenth", *every), *tenths(every.values()))
    yield "## The same with technique errors, 7 days: at or above the home limit\n"
    plain, known = (pairs(of, (scenario,)) for scenario in (ERRORS, ERRORS_KNOWN))
    every = {
        "as measured": [at_limit(*one) for one in plain],
        "the one probability": [at_limit(*one, usual=True) for one in plain],
        "the one probability, known": [at_limit(*one, usual=True) for one in known],
    }
    yield table(("tenth", *every), *tenths(every.values()))


def mixed(of: Judging) -> Iterator[str]:
    yield "## All these scenarios and numbers of days together: at or above the home limit, as measured\n"
    several = [("acc-aha-2025", *of("acc-aha-2025", one)) for days in IN_DAYS.values() for one in days]
    compared = [at_limit(*one) for one in several]
    yield table(("tenth", "said and true"), *tenths([compared]))
    chance, true = (np.concatenate([one[place] for one in compared]) for place in (0, 1))
    yield f"Calibration slope (logistic regression; target 0.9 to 1.15): {measures.calibration_slope(chance, true):.2f}.\n"


def by_people(of: Judging) -> Iterator[str]:
    yield "## The same by whose readings are sent, 7 days, weeks differing (target: within 0.05)\n"
    yield OF_PEOPLE
    columns = [[at_limit(guideline, *of(guideline, scenario)) for guideline in DISCARDED] for scenario in PEOPLE.values()]
    yield table(("tenth", *PEOPLE), *tenths(columns))


def named(of: Judging) -> Iterator[str]:
    yield "## Patterns named, weeks differing: right among those that are at least probable, %\n"
    rows = []
    for guideline in DISCARDED:
        for visits, scenario in (("1", ONE_VISIT), ("2", TWO_VISITS), ("2, nothing recorded", NOTHING_RECORDED)):
            cohort, judged = of(guideline, scenario)
            _, true = of_patterns(guideline, cohort, judged)
            own = np.array([[label == name for name in PATTERNS] for label in judged.label]).T
            right, sure = (true & own).any(axis=0), judged.label_sureness != "cannot-be-told"
            rows.append((guideline, visits, share(sure.mean(), sure.size), share(right[sure].mean(), sure.sum()),
                         share(right[own.any(axis=0)].mean(), own.any(axis=0).sum())))  # fmt: skip
    yield table(("guideline", "visits", "at least probable", "right of these", "right of all labels"), *rows)


def ahead(of: Judging) -> Iterator[str]:
    yield "## Being sure of the category after more days, weeks differing (target: within 0.07)\n"
    several = IN_DAYS["weeks differ by 4.5/2.8"]
    said, true = (np.concatenate(parts) for parts in zip(
        *(surer(*(of(guideline, several[DAYS.index(days)])[1] for days in (begun, begun + more)), AHEAD.index(more))
          for guideline in DISCARDED for begun, more in ((3, 7), (7, 3), (7, 7))), strict=True))  # fmt: skip
    yield table(("tenth", "said and true"), *tenths([[(said, true)]]))
    yield f"In all said {said.mean():.3f}, true {true.mean():.3f}.\n"


def surer(now: Judged, later: Judged, place: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the chance that was told of whoever is not yet sure, and whether their category then is sure."""
    chance, open_still = now.chance_after[place], own(now.one_of_categories, now.category) < SURE
    asked = open_still & (now.category >= 0) & ~np.isnan(chance)
    return chance[asked], (own(later.one_of_categories, now.category) >= SURE)[asked]


def pairs(of: Judging, scenarios: Iterable[Scenario]) -> list[tuple[str, Cohort, Judged]]:
    return [(guideline, *of(guideline, scenario)) for guideline in DISCARDED for scenario in scenarios]


def at_limit(guideline: str, cohort: Cohort, judged: Judged, usual: bool = False) -> tuple[np.ndarray, np.ndarray]:
    said = judged.one_probability if usual else judged.probability
    return said, measures.raised(cohort.home_truth, home_limit(guideline))


def by_category(guideline: str, cohort: Cohort, judged: Judged) -> tuple[np.ndarray, np.ndarray]:
    return judged.of_categories, one_hot(reached(guideline, cohort.home_truth), len(judged.of_categories))


def one_hot(place: np.ndarray, size: int) -> np.ndarray:
    return np.arange(size)[:, None] == place


def of_patterns(guideline: str, cohort: Cohort, judged: Judged) -> tuple[np.ndarray, np.ndarray]:
    office, home = true_in_office(guideline, cohort), measures.raised(cohort.home_truth, home_limit(guideline))
    true = {"sustained": home & office, "office-only-elevation": ~home & office, "home-only-elevation": home & ~office,
            "normal-in-both": ~home & ~office}  # fmt: skip
    return judged.of_patterns, np.stack([true[name] for name in PATTERNS])


def true_in_office(guideline: str, cohort: Cohort) -> np.ndarray:
    """Return who is truly raised in the office, by the average that the guideline's protocol takes there."""
    office = cohort.office_settled_truth if guideline == "esh-2023" else cohort.office_truth
    return measures.raised(office, limit_of(guideline, "office"))


def tenths(every: Iterable[list[tuple[np.ndarray, np.ndarray]]]) -> Iterator[tuple[str, ...]]:
    columns, scores = [], []
    for several in every:
        chance, true = (np.concatenate([one[place].ravel() for one in several]) for place in (0, 1))
        found = {min(int(said * 10), 9): (said, of, count) for said, of, count in measures.reliability(chance, true)}
        columns.append(found)
        base = true[~np.isnan(chance)].mean()
        scores.append(f"{measures.brier(chance, true):.4f} ({base * (1 - base):.4f})")
    for tenth in range(10):
        yield (f"{tenth / 10:.1f}", *(compared(*one[tenth]) if tenth in one else "–" for one in columns))
    yield ("Brier score (were the share true always said)", *scores)


def compared(said: float, true: float, count: int) -> str:
    return f"said {said:.3f}, true {true:.3f} ±{np.sqrt(true * (1 - true) / count):.3f} of {count}"


def classification(of: Judging) -> Iterator[str]:
    yield "## Wrongly classified among the classified, and left undetermined, 7 days, %\n"
    yield ("Target with errors: at no more than 20 % undetermined at most half the plain mean's. `holds`: the category\n"
           "counts where `holds` is true. The surest 80 %: those that hold first, then by the category's probability.\n"
           "With usual errors: by the one probability alone, of the category or of the limit's side.\n"
           "At the limit: raised or not, of the same people.\n")  # fmt: skip
    rows = []
    for guideline, discard in DISCARDED.items():
        for name, scenario in (("clean", CLEAN), ("errors", ERRORS)):
            cohort, judged = of(guideline, scenario)
            true = reached(guideline, cohort.home_truth)
            limit = home_limit(guideline)
            raised = measures.raised(cohort.home_truth, limit)
            for way, mean, decided in ways(cohort, judged, discard, limit):
                said = judged.category if mean is None else reached(guideline, mean)
                pressures = measures.protocol_mean(cohort, discard) if mean is None else mean
                wrong = [(said != true)[decided].mean(), (measures.raised(pressures, limit) != raised)[decided].mean()]
                rows.append((guideline, name, way, *(share(one, decided.sum()) for one in wrong),
                             share(1 - decided.mean(), decided.size)))  # fmt: skip
    yield table(("guideline", "cohort", "way", "category wrong", "wrong at the limit", "undetermined"), *rows)


def ways(
    cohort: Cohort, judged: Judged, discard: int, limit: tuple[float, float]
) -> Iterator[tuple[str, np.ndarray | None, np.ndarray]]:
    """Yield each way to classify: its name, its mean (None: the service's category) and whom it classifies."""
    everyone = np.ones(len(judged.given), dtype=bool)
    chance, usual = (own(of, judged.category) for of in (judged.of_categories, judged.one_of_categories))
    at_limit = np.where(measures.raised(measures.protocol_mean(cohort, discard), limit), judged.one_probability,
                        1 - judged.one_probability)  # fmt: skip
    holds, sure = judged.given & judged.holds, judged.given & (chance >= 0.8)
    yield "plain mean of all readings", measures.plain_mean(cohort), everyone
    yield "protocol mean", measures.protocol_mean(cohort, discard), everyone
    yield "service: `holds`", None, holds
    yield "service: category probable by 0.8", None, sure
    yield "service: probable by 0.8 and `holds`", None, holds & sure
    yield "service: the surest 80 %", None, judged.given & surest(chance, ~holds)
    yield "service: the surest 80 % with usual errors, by category", None, judged.given & surest(usual)
    yield "service: the surest 80 % with usual errors, at the limit", None, judged.given & surest(at_limit)


def own(of_categories: np.ndarray, category: np.ndarray) -> np.ndarray:
    """Return the probability of each one's own category; 0 where there is none."""
    return np.nan_to_num(np.take_along_axis(of_categories, np.maximum(category, 0)[None], axis=0)[0])


def surest(chance: np.ndarray, last: np.ndarray | None = None) -> np.ndarray:
    """Mark the four fifths with the highest probability, those of `last` after all others."""
    order = np.lexsort((-np.nan_to_num(chance), np.zeros(len(chance)) if last is None else last))
    return np.isin(np.arange(len(order)), order[: int(0.8 * len(order))])


def reasons(of: Judging) -> Iterator[str]:
    yield "## Which alternative keeps a category from holding, 7 days, % of people (alone)\n"
    names, cells = alternative_names(), []
    for guideline in DISCARDED:
        for scenario in (CLEAN, ERRORS):
            changing = of(guideline, scenario)[1].changing
            alone = changing & (changing.sum(axis=0) == 1)
            cells.append([(100 * one.mean(), 100 * only.mean()) for one, only in zip(changing, alone, strict=True)])
    rows = [(name, *(f"{one:.1f} ({only:.1f})" for one, only in row)) for name, *row in zip(names, *cells, strict=True)
            if any(one for one, _ in row)]  # fmt: skip
    yield table(("alternative", *(f"{one}, {name}" for one in DISCARDED for name in ("clean", "errors"))), *rows)


def office_only(of: Judging) -> Iterator[str]:
    yield "## Office-only elevation, 7 days at home, two office visits, %\n"
    rows = []
    for guideline in DISCARDED:
        for name, scenario in (("clean", CLEAN), ("errors", ERRORS)):
            cohort, judged = of(guideline, scenario)
            true = true_in_office(guideline, cohort) & ~measures.raised(cohort.home_truth, home_limit(guideline))
            visit = measures.office_only(cohort.office[:, :, 0].mean(axis=-1), measures.plain_mean(cohort), guideline)
            unsure = (judged.label == "undetermined").mean()
            for way, named, undetermined in (
                ("plain means, one visit", visit, 0),
                ("the service's pattern", judged.label == "office-only-elevation", unsure),
            ):
                found = measures.detection(named, true, undetermined)
                rows.append((guideline, name, way, share(found.sensitivity, true.sum()),
                             share(found.false_alarms, (~true).sum()), share(found.right_when_named, named.sum()),
                             f"{100 * undetermined:.1f}"))  # fmt: skip
    yield table(("guideline", "cohort", "way", "found", "false alarms", "right when named", "undetermined"), *rows)


def cost(ratios: Iterable[Ratio]) -> Iterator[str]:
    yield "## Cost of uncertainty, alternatives and probabilities (target: at most twice the time)\n"
    rows = [(one.what, f"{1000 * one.whole:.1f}", f"{1000 * one.without:.1f}", f"{one.ratio:.2f}") for one in ratios]
    yield table(("what", "all, ms", "without them, ms", "ratio"), *rows)
