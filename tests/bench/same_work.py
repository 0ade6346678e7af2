"""The same work in pandas and polars: forty shipped rules about readings, three-valued, with averages and their intervals.

`python tests/bench/same_work.py [ROUNDS]` prints nanoseconds of processor time a rule and reading, the service's own
part beside it, and the floors below which no service can fall: Parquet decoded, JSON read and written. All run in turn
in one process, on one thread; results are compared before anything is timed. polars is not among the project's
dependencies (`pip install polars`).
"""

import os
import sys

os.environ["POLARS_MAX_THREADS"] = "1"  # before it is imported

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial, reduce
from io import BytesIO
from operator import and_, or_
from pathlib import Path
from statistics import median
from time import process_time

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent.parent / "service"), str(HERE.parent), str(HERE)]

import numpy as np  # noqa: E402
import orjson  # noqa: E402
import pandas as pd  # noqa: E402
import polars as pl  # noqa: E402
import pyarrow  # noqa: E402
from body import body  # noqa: E402
from invented import PER_SUBJECT, readings  # noqa: E402
from pyarrow import parquet  # noqa: E402
from scipy.special import stdtrit  # noqa: E402

from heartlevel import Rules, answer_to  # noqa: E402
from heartlevel.assessment import assess_batch, sitting_gaps  # noqa: E402
from heartlevel.conclusions.coverage import intervals_of  # noqa: E402
from heartlevel.facts.reading import columns_of_readings  # noqa: E402
from heartlevel.frames import assess_frame, examined_frame  # noqa: E402
from heartlevel.intake.batch import Batch  # noqa: E402
from heartlevel.ruling.language.conditions import Condition, Group, Mention, Term  # noqa: E402
from heartlevel.ruling.running.intervals import interval  # noqa: E402
from heartlevel.ruling.running.truth import UNKNOWN  # noqa: E402
from heartlevel.ruling.running.verdicts import Program  # noqa: E402
from heartlevel.statistics.averages import ROUNDING, average  # noqa: E402
from heartlevel.statistics.selection import HOME, KEPT  # noqa: E402
from heartlevel.statistics.uncertainty import FEWEST_DAYS  # noqa: E402
from heartlevel.tables.batches import clean_batches  # noqa: E402
from heartlevel.tables.meanings import Mapped  # noqa: E402
from heartlevel.vocabulary import PRESSURES, SETTINGS  # noqa: E402

RULES, SUBJECTS, WANTED = Rules.load(), 5_000, 40
Averaged = np.ndarray  # a column a subject: by pressure the mean, the mean of days and both ends of its interval


def program() -> Program:
    """Return the first forty rules about readings that compare facts alone, and mention no other rule."""
    alone = [rule for rule in RULES.ruleset.rules["reading"] if not any(isinstance(leaf, Mention) for leaf in rule.leaves)]
    return Program(replace(RULES.ruleset, rules={"reading": tuple(alone[:WANTED])}), "reading")


PROGRAM = program()
LIMITS = RULES.ruleset.limits(RULES.ruleset.default_guideline, next(iter(RULES.ruleset.protocols)))


class Prepared:
    """Invented readings, with every fact that the rules compare and the readings that the protocol keeps, for all alike."""

    def __init__(self, subjects: int) -> None:
        """Assess them once, for the facts."""
        table = examined_frame(readings(subjects), Mapped(), RULES)
        gaps = partial(sitting_gaps, rules=RULES)
        self.batches = [batch for batch, _ in clean_batches(table.examined, RULES.ruleset.choices, gaps)]
        facts = [columns_of_readings(batch) for batch in self.batches]
        self.facts = [{name: of[name] for name in PROGRAM.facts} for of in facts]
        kept = [assess_batch(batch, RULES).selection.left_out == KEPT for batch in self.batches]
        self.kept = [rows & (batch.setting == HOME) for rows, batch in zip(kept, self.batches, strict=True)]
        before = np.cumsum([0, *(len(batch.requests) for batch in self.batches)])
        numbers = [batch.subject_of + first for batch, first in zip(self.batches, before[:-1], strict=True)]
        self.columns = {name: np.concatenate([of[name] for of in self.facts]) for name in PROGRAM.facts}
        self.columns |= {f"_{name}": np.concatenate([batch.readings[name] for batch in self.batches]) for name in PRESSURES}
        self.columns |= {
            "_subject": np.concatenate(numbers),
            "_day": np.concatenate([batch.day for batch in self.batches]),
            "_kept": np.concatenate(self.kept),
        }
        self.size, self.subjects = len(self.columns["_day"]), subjects

    def by_heartlevel(self) -> tuple[np.ndarray, Averaged]:
        """Judge and average batch by batch, as the service does."""
        outcomes, averaged = [], []
        for batch, facts, kept in zip(self.batches, self.facts, self.kept, strict=True):
            profile = np.zeros(batch.size, dtype=np.int64)
            outcomes.append(PROGRAM.judge(facts.__getitem__, profile).outcomes)
            averaged.append(_averaged(batch, kept))
        return np.concatenate(outcomes, axis=1), np.concatenate(averaged, axis=2)


def _averaged(batch: Batch, kept: np.ndarray) -> Averaged:
    averages = average(batch, {"protocol": kept})
    columns = (averages.mean, averages.day_mean, *intervals_of(averages))
    return np.array([column[: len(PRESSURES), 0, HOME :: len(SETTINGS)] for column in columns])


def whole(condition: Condition, leaf: Callable[[Term], object]) -> object:
    """Return a condition in another library: `leaf` makes a comparison; and, or and not there know of unknown values."""
    if not isinstance(condition, Group):
        assert isinstance(condition, Term)
        return leaf(condition)
    parts = [whole(part, leaf) for part in condition.parts]
    joined = reduce(and_ if condition.kind == "all" else or_, parts)
    return ~joined if condition.kind == "none" else joined


def by_pandas(frame: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Judge by nullable columns and average by groups."""

    def leaf(term: Term) -> pd.Series:
        column, (low, high) = frame[term.fact.name], interval(term, LIMITS)
        if term.operator == "known":
            return column.notna() if term.values[0] else column.isna()
        return (column >= low) & (column <= high) if low > -np.inf and high < np.inf else (
            column >= low if high == np.inf else column <= high
        )  # fmt: skip

    outcomes = pd.DataFrame({rule.id: whole(rule.condition, leaf) for rule in PROGRAM.rules})
    kept = frame[frame["_kept"]]
    names = [f"_{name}" for name in PRESSURES]
    days = kept.groupby(["_subject", "_day"], sort=False)[names].mean().groupby("_subject", sort=False).agg(
        ["mean", "std", "count"]
    )  # fmt: skip
    means = kept.groupby("_subject", sort=False)[names].mean()
    columns = {}
    for name in names:
        columns[name], columns[f"{name}.days"] = means[name], days[name, "mean"]
        low, high = _ends(*(days[name, part] for part in ("mean", "std", "count")))
        columns[f"{name}.low"], columns[f"{name}.high"] = low, high
    return outcomes, pd.DataFrame(columns)


def _ends(mean: object, sd: object, count: object) -> tuple[np.ndarray, np.ndarray]:
    mean, sd, count = (np.asarray(column, dtype=np.float64) for column in (mean, sd, count))
    days = np.arange(1 + count.max())
    quantile = stdtrit(np.where(days >= FEWEST_DAYS, days - 1, np.nan), 0.975)  # looked up, as the service does
    half = quantile[count.astype(np.int64)] * np.maximum(sd, ROUNDING) / np.sqrt(count)
    return mean - half, mean + half


def by_polars(frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Judge by expressions, all in one query, and average in another."""

    def leaf(term: Term) -> pl.Expr:
        column, (low, high) = pl.col(term.fact.name), interval(term, LIMITS)
        if term.operator == "known":
            return column.is_not_null() if term.values[0] else column.is_null()
        if low > -np.inf and high < np.inf:
            return (column >= low) & (column <= high)
        return column >= low if high == np.inf else column <= high

    outcomes = frame.lazy().select(whole(rule.condition, leaf).alias(rule.id) for rule in PROGRAM.rules).collect()
    names = [f"_{name}" for name in PRESSURES]
    kept = frame.lazy().filter(pl.col("_kept"))
    of_days = [part for name in names for part in (pl.col(name).mean().alias(f"{name}.days"), pl.col(name).std().alias(
        f"{name}.sd"), pl.col(name).count().alias(f"{name}.count"))]  # fmt: skip
    days = kept.group_by("_subject", "_day").agg(pl.col(names).mean()).group_by("_subject").agg(of_days)
    means = kept.group_by("_subject").agg(pl.col(names).mean())
    joined = means.join(days, on="_subject").sort("_subject").collect()
    ends = []
    for name in names:
        low, high = _ends(*(joined[f"{name}.{part}"].to_numpy() for part in ("days", "sd", "count")))
        ends += [pl.Series(f"{name}.low", low), pl.Series(f"{name}.high", high)]
    return outcomes, joined.with_columns(ends)


def compared(prepared: Prepared, rounds: int) -> None:
    """Print the same work done by each, nanoseconds a rule and reading."""
    nullable = {name: pd.array(values, dtype="Float64") for name, values in prepared.columns.items() if name[0] != "_"}
    plain = {name: values for name, values in prepared.columns.items() if name[0] == "_"}
    pandas_frame = pd.DataFrame(nullable | plain)
    polars_frame = pl.DataFrame(prepared.columns).with_columns(pl.col(PROGRAM.facts).fill_nan(None))
    works = {
        "heartlevel": prepared.by_heartlevel,
        "pandas, nullable columns": lambda: by_pandas(pandas_frame),
        "polars, one thread": lambda: by_polars(polars_frame),
    }
    _same(*(work() for work in works.values()))
    times = in_turn(works, rounds)
    print(f"| the same {len(PROGRAM.rules)} rules, averages and intervals, {prepared.size:,} readings "
          "| ns a rule and reading | readings/s | heartlevel is × |\n|---|---|---|---|")  # fmt: skip
    for name, took in times.items():
        each = 1e9 * took / prepared.size / len(PROGRAM.rules)
        print(f"| {name} | {each:.1f} | {prepared.size / took:,.0f} | {took / times['heartlevel']:.2f} |")


def _same(own: tuple, pandas_result: tuple, polars_result: tuple) -> None:
    """End the benchmark unless all three say the same of every rule, reading and subject."""
    outcomes, averaged = own
    told = [np.where(outcomes[row] == UNKNOWN, np.nan, outcomes[row]) for row in range(len(PROGRAM.rules))]
    by_pandas_, by_polars_ = pandas_result[0], polars_result[0]
    for rule, expected in zip(PROGRAM.rules, told, strict=True):
        others = (by_pandas_[rule.id].astype("Float64").to_numpy(dtype=np.float64, na_value=np.nan),
                  by_polars_[rule.id].cast(pl.Float64).fill_null(np.nan).to_numpy())  # fmt: skip
        if not all(np.array_equal(expected, other, equal_nan=True) for other in others):
            sys.exit(f"{rule.id} comes out otherwise")
    for number, name in enumerate(f"_{pressure}" for pressure in PRESSURES):
        for row, column in enumerate((name, f"{name}.days", f"{name}.low", f"{name}.high")):
            expected = averaged[row, number]
            expected = expected[~np.isnan(averaged[0, number])]
            for other in (pandas_result[1][column].to_numpy(), polars_result[1][column].to_numpy()):
                if not np.allclose(expected, other, rtol=1e-9, equal_nan=True):
                    sys.exit(f"{column} comes out otherwise")


def floors(rounds: int) -> None:
    """Print what decoding and writing alone take, beside the service's whole way."""
    frame = readings(1_000)
    buffer = BytesIO()
    parquet.write_table(pyarrow.Table.from_pandas(frame, preserve_index=False), buffer)
    written, sent = buffer.getvalue(), body()
    answer = answer_to(orjson.loads(sent), RULES)
    works = {
        "Parquet decoded": lambda: parquet.read_table(BytesIO(written), use_threads=False),
        "table in memory to result tables": lambda: assess_frame(frame, RULES),
        "request and answer through orjson": lambda: [orjson.dumps(answer) for _ in range(100) if orjson.loads(sent)],
        "request to answer, alone": lambda: [orjson.dumps(answer_to(orjson.loads(sent), RULES)) for _ in range(100)],
    }
    times = in_turn(works, rounds)
    print("\n| floor, and the service's way | µs a reading | × the floor |\n|---|---|---|")
    sizes = dict(zip(works, (len(frame), len(frame), 100 * PER_SUBJECT, 100 * PER_SUBJECT), strict=True))
    floor = 0.0
    for number, (name, took) in enumerate(times.items()):
        each = 1e6 * took / sizes[name]
        floor = each if number % 2 == 0 else floor
        print(f"| {name} | {each:.2f} | {each / floor:.1f} |")


def in_turn(works: Mapping[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Return the median processor seconds of each work; all are run in every round."""
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            began = process_time()
            work()
            times[name].append(process_time() - began)
    return {name: median(several) for name, several in times.items()}


def main(rounds: int = 7) -> None:
    print(f"Python {sys.version.split()[0]}, pandas {pd.__version__}, polars {pl.__version__}\n")
    compared(Prepared(SUBJECTS), rounds)
    floors(rounds)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
