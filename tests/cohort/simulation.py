"""People with known long-run pressures, and the readings they and their office would write down."""

from dataclasses import dataclass, replace

import numpy as np

from cohort.parameters import FIGURES, HABITS

LONGEST, SITTINGS, MOST, MOST_VISITS, OFFICE_READINGS = 14, 2, 3, 3, 3
WEEK, TAILS = 7, 3  # days; degrees of freedom
STREAMS = (
    "people",
    "weeks",
    "days",
    "sittings",
    "readings",
    "technique",
    "devices",
    "digits",
    "schedule",
    "office",
    "tails",
)


@dataclass(frozen=True)
class Scenario:
    """What is switched on. The people and their noise are the same in every scenario of one seed."""

    days: int = 7
    visits: int = 2  # to the office
    errors: bool = False  # technique errors and inexact devices at home
    transients: bool = True  # a first day and first readings that are higher
    habits_of_writing: bool = True  # digits, missed sittings, third readings
    day_correlation: float = 0.0  # between one day and the next
    drift: bool = False  # the days lie in weeks that differ from the long-run mean
    habituation: bool = False  # the first days' excess fades by half a day instead of after the first
    weekdays: bool = False  # Saturdays and Sundays are lower
    heavy_tails: bool = False  # days' distances are of Student's t with three degrees of freedom
    people_known: bool = False  # requests name the population
    people: str = "home"  # whose usual pressures are drawn: "home" of the general population, "treated", "untreated"
    undocumented: bool = False  # nobody records a detail of technique

    def but(self, **changes) -> "Scenario":
        return replace(self, **changes)


@dataclass(frozen=True)
class Cohort:
    """First axis systolic, diastolic, then subjects. Home readings lie by day, sitting and place in the sitting."""

    home: np.ndarray
    taken: np.ndarray
    office: np.ndarray
    home_truth: np.ndarray  # mean of endlessly many days' first two readings, first day's effect excluded
    settled_truth: np.ndarray  # the same without the first reading's effect
    office_truth: np.ndarray  # mean of endlessly many visits, all their readings
    office_settled_truth: np.ndarray  # the same of their last two
    error: np.ndarray  # of each home reading, by technique and device
    done_wrong: np.ndarray  # habit, subject, day, sitting
    recorded: np.ndarray  # habit, subject
    said_wrong: np.ndarray  # as done_wrong, as a request would have it


def figure(name: str, *axes: int) -> np.ndarray:
    """Return a figure's two values, ready to be spread over so many further axes."""
    one = FIGURES[name]
    return np.array([one.systolic, one.diastolic]).reshape(2, *axes)


def share(name: str) -> float:
    return FIGURES[name].systolic


def simulate(subjects: int, seed: int, scenario: Scenario) -> Cohort:
    """Simulate a cohort; the same seed gives the same people, days and errors whatever the scenario."""
    draw = dict(zip(STREAMS, map(np.random.default_rng, np.random.SeedSequence(seed).spawn(len(STREAMS))), strict=True))
    usual = figure(f"{scenario.people} mean", 1) + figure(f"{scenario.people} SD between people", 1) * pair(
        draw["people"], subjects
    )
    noise = home_noise(draw, subjects, scenario)
    bump, first_day = first_readings("home", scenario), figure("first day above later", 1, 1, 1, 1) * scenario.transients
    home = usual[:, :, None, None, None] + noise + bump
    home += first_day * fading(scenario)[:, None, None]
    done, size, recorded, said = technique(draw["technique"], subjects)
    error = np.zeros_like(home)
    if scenario.errors:
        joint = np.einsum("hnds,phn->pnds", done, size) * figure("errors' joint effect", 1, 1, 1)
        device = figure("home device error", 1) * pair(draw["devices"], subjects)
        error += joint[..., None] + device[:, :, None, None, None]
    office, office_usual = at_the_office(draw["office"], subjects, usual, scenario)
    written, taken = written_down(draw, home + error, scenario)
    days = slice(scenario.days)
    return Cohort(
        home=written[:, :, days],
        taken=taken[:, days],
        office=office,
        home_truth=usual + bump[..., :2].mean(axis=-1)[:, :, 0, 0],
        settled_truth=usual,
        office_truth=office_usual + first_readings("office", scenario).mean(axis=-1)[:, :, 0, 0],
        office_settled_truth=office_usual,
        error=error[:, :, days],
        done_wrong=done[:, :, days] & scenario.errors,
        recorded=recorded & ~np.array(scenario.undocumented),
        said_wrong=said[:, :, days] & scenario.errors,
    )


def pair(draw: np.random.Generator, *shape: int) -> np.ndarray:
    """Draw standard normal systolic and diastolic parts that go together."""
    first, second = draw.standard_normal((2, *shape))
    together = share("systolic with diastolic")
    return np.stack([first, together * first + np.sqrt(1 - together**2) * second])


def first_readings(where: str, scenario: Scenario) -> np.ndarray:
    effect = np.zeros((2, 1, 1, 1, MOST))
    effect[..., 0] = figure(f"first {where} reading above next", 1, 1, 1) * scenario.transients
    return effect


def home_noise(draw: dict, subjects: int, scenario: Scenario) -> np.ndarray:
    """Return every reading's distance from the person's usual pressure, first readings and first day apart."""
    spread = share("spread of SDs between people")
    log_sd = np.sqrt(np.log1p(spread**2))
    own = np.exp(log_sd * draw["people"].standard_normal(subjects) - log_sd**2 / 2)[:, None, None, None]
    day = correlated_days(pair(draw["days"], subjects, LONGEST), scenario.day_correlation)[..., None, None]
    if scenario.heavy_tails:
        day = day / np.sqrt(draw["tails"].chisquare(TAILS, (subjects, LONGEST)) / (TAILS - 2))[..., None, None]
    sitting = pair(draw["sittings"], subjects, LONGEST, SITTINGS)[..., None]
    reading = pair(draw["readings"], subjects, LONGEST, SITTINGS, MOST)
    own_difference = figure("SD of morning above evening", 1) * pair(draw["sittings"], subjects)
    morning = figure("morning above evening", 1) + own_difference
    by_half_day = morning[:, :, None, None, None] * np.array([0.5, -0.5])[:, None]
    week = figure("SD between weeks", 1, 1) * pair(draw["weeks"], subjects, LONGEST // WEEK) * scenario.drift
    week = np.repeat(week, WEEK, axis=2) + weekend(scenario)
    parts = (figure("SD between days", 1, 1, 1, 1) * day, figure("SD between sittings of a day", 1, 1, 1, 1) * sitting,
             figure("SD within a sitting", 1, 1, 1, 1) * reading)  # fmt: skip
    return own * sum(parts) + by_half_day + week[..., None, None]


def fading(scenario: Scenario) -> np.ndarray:
    """Return the share of the first day's excess that each day has."""
    days = np.arange(LONGEST)
    return np.where(days == 0, 1.0, 0.5**days if scenario.habituation else 0.0)


def weekend(scenario: Scenario) -> np.ndarray:
    """Return how far each day of the week lies from their mean; the first day is a Monday."""
    lower = np.arange(LONGEST) % WEEK >= 5
    by_day = np.where(lower, -5 / 7, 2 / 7) * scenario.weekdays
    return figure("working days above Saturdays and Sundays", 1, 1) * by_day


def correlated_days(independent: np.ndarray, correlation: float) -> np.ndarray:
    days = independent.copy()
    for day in range(1, LONGEST):
        days[..., day] = correlation * days[..., day - 1] + np.sqrt(1 - correlation**2) * independent[..., day]
    return days


def technique(draw: np.random.Generator, subjects: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return who errs when, by how much each error reads wrong, who records what, and what the records say."""
    shape = (len(HABITS), subjects, LONGEST, SITTINGS)
    has = draw.random(shape[:2]) < np.array([one.prevalence for one in HABITS])[:, None]
    done = has[:, :, None, None] & (draw.random(shape) < share("habit in a sitting"))
    ends = np.array([[one.systolic for one in HABITS], [one.diastolic for one in HABITS]])
    place = draw.random(shape[:2])
    size = ends[..., :1] + (ends[..., 1:] - ends[..., :1]) * place
    recorded = draw.random(shape[:2]) < share("technique recorded")
    said = done & (draw.random(shape) >= share("error recorded as right"))
    return done, size, recorded, said


def at_the_office(draw: np.random.Generator, subjects: int, usual: np.ndarray, scenario: Scenario) -> tuple:
    """Return the office's readings as written down, and each person's usual pressure there."""
    there = usual + figure("office above home", 1) + figure("SD of office above home", 1) * pair(draw, subjects)
    visit = figure("SD between office visits", 1, 1) * pair(draw, subjects, MOST_VISITS)
    reading = figure("SD within a sitting", 1, 1, 1) * pair(draw, subjects, MOST_VISITS, OFFICE_READINGS)
    value = there[:, :, None, None] + visit[..., None] + reading + first_readings("office", scenario)[:, :, 0]
    tens = draw.random((subjects, MOST_VISITS)) < share("visits rounded to tens") * scenario.habits_of_writing
    return rounded(value, tens[..., None])[:, :, : scenario.visits], there


def written_down(draw: dict, value: np.ndarray, scenario: Scenario) -> tuple[np.ndarray, np.ndarray]:
    subjects = value.shape[1]
    tens = draw["digits"].random(subjects) < share("people who round to tens") * scenario.habits_of_writing
    kept = draw["schedule"].random((2, subjects, LONGEST, SITTINGS))
    taken = np.repeat((kept[0] >= share("missed sittings") * scenario.habits_of_writing)[..., None], MOST, axis=-1)
    taken[..., 2] &= kept[1] < share("third readings") * scenario.habits_of_writing
    return rounded(value, tens[:, None, None, None]), taken


def rounded(value: np.ndarray, to_tens: np.ndarray) -> np.ndarray:
    return np.where(to_tens, 10 * np.rint(value / 10), np.rint(value))
