"""How fast whole tables are: stages, beside scripts in pandas alone, growth, memory, and the rules beside engines.

`python tests/bench/bulk.py [--thousands N,...] [--rounds N]` prints tables of readings a second of processor time,
one core. Things compared run in turn in each round; ratios are of medians. No test asks for its figures.
"""

import argparse
import platform
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from statistics import median
from time import process_time

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent.parent / "service"), str(HERE)]

import by_pandas  # noqa: E402
import orjson  # noqa: E402
import pandas as pd  # noqa: E402
from invented import readings  # noqa: E402

from heartlevel import Rules  # noqa: E402
from heartlevel.answer.result_tables import COLUMNS_OF  # noqa: E402
from heartlevel.answer.whole import as_json  # noqa: E402
from heartlevel.assessment import assess_batch, sitting_gaps  # noqa: E402
from heartlevel.columns import Ints  # noqa: E402
from heartlevel.conclusions.conclude import conclude  # noqa: E402
from heartlevel.frames import assess_frame, examined_frame  # noqa: E402
from heartlevel.intake.batch import Batch  # noqa: E402
from heartlevel.intake.decoding import Decoded  # noqa: E402
from heartlevel.intake.ndjson import decode_json  # noqa: E402
from heartlevel.intake.request import read  # noqa: E402
from heartlevel.one_call import TOGETHER_IN_BULK, answer_requests  # noqa: E402
from heartlevel.tables.batches import clean_batches  # noqa: E402
from heartlevel.tables.meanings import Mapped  # noqa: E402

ENGINES = {"heartlevel": 280_000, "numpy": 280_000, "python": 28_000, "clipspy": 8_400, "durable_rules": 8_400}
# Peak memory of a process, which a child started by fork would inherit: asked of a fresh one.
MEMORY = """
import resource, sys
sys.path[:0] = {paths}
from invented import readings
from heartlevel import Rules
from heartlevel.frames import assess_frame
rules, frame = Rules.load(), readings({subjects})
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
result = assess_frame(frame, rules)
print(before / 1024, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def timed(work: Callable[[], object]) -> float:
    """Return the processor seconds that some work takes."""
    began = process_time()
    work()
    return process_time() - began


def side_by_side(title: str, works: dict[str, tuple[Callable[[], object], int]], rounds: int) -> None:
    """Run works in turn and print readings a second of each, and how they stand to the first."""
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, (work, _) in works.items():
            times[name].append(timed(work))
    rates = {name: works[name][1] / median(several) for name, several in times.items()}
    first = next(iter(rates.values()))
    print(f"{title:<44}{'readings/s':>12}{'first is ×':>12}")
    for name, rate in rates.items():
        print(f"{name:<44}{rate:>12,.0f}{first / rate:>12.2f}")
    print()


def stages(frame: pd.DataFrame, rules: Rules, rounds: int) -> None:
    """Print what each stage takes."""
    size, gaps = len(frame), partial(sitting_gaps, rules=rules)
    table = examined_frame(frame, Mapped(), rules)

    def batches() -> list[tuple[Batch, Ints]]:
        return list(clean_batches(table.examined, rules.ruleset.choices, gaps))

    ready = batches()
    assessed = [assess_batch(batch, rules) for batch, _ in ready]

    side_by_side("stage of tables", {
        "table to tables, all": (lambda: assess_frame(frame, rules), size),
        "columns looked at": (lambda: examined_frame(frame, Mapped(), rules), size),
        "times, order, copies, batches made": (batches, size),
        "batches assessed": (lambda: [assess_batch(batch, rules) for batch, _ in ready], size),
        "result tables": (lambda: [table(concluded) for concluded in map(conclude, assessed)
                                   for table in COLUMNS_OF.values()], size),
    }, rounds)  # fmt: skip


def against_pandas(frame: pd.DataFrame, rules: Rules, rounds: int) -> None:
    """Print how tables stand to scripts that do a small part of it."""
    few = frame.iloc[: len(frame) // 10]
    side_by_side("table to tables, beside pandas alone", {
        "heartlevel, all rules and statistics": (lambda: assess_frame(frame, rules), len(frame)),
        "pandas, subject by subject, 11 rules": (lambda: by_pandas.by_subject(few), len(few)),
        "pandas, whole-table steps, 11 rules": (lambda: by_pandas.at_once(frame), len(frame)),
    }, rounds)  # fmt: skip


def ndjson(frame: pd.DataFrame, rules: Rules, rounds: int) -> None:
    """Print what lines in and answers out take."""
    lines = list(enumerate(map(orjson.dumps, requests(frame, rules)), start=1))
    works = {f"{many} subjects together": (_answering(lines, rules, many), len(frame)) for many in (TOGETHER_IN_BULK, 32)}
    side_by_side("NDJSON bytes to answer bytes", works, rounds)


def _answering(lines: list[tuple[int, bytes]], rules: Rules, together: int) -> Callable[[], object]:
    """Return what reads, assesses, answers and writes so many at once, as a bulk run does."""

    def answer() -> None:
        decoded = decode_json(lines)
        while batch := list(islice(decoded, together)):
            requests = [read(sent.request, rules.ruleset.choices) for sent in batch if isinstance(sent, Decoded)]
            for written in answer_requests(requests, rules):
                as_json(written)

    return answer


def requests(frame: pd.DataFrame, rules: Rules) -> list[object]:
    """Return the requests that say what the table says."""
    table = examined_frame(frame, Mapped(), rules)
    return [decoded.request for decoded in table.examined.requests_of(range(len(table.examined.subjects)))]


def growth(rules: Rules, thousands: list[int]) -> None:
    """Print how time and memory grow with the number of subjects."""
    print(f"{'thousand subjects':<20}{'readings/s':>12}{'peak MB':>10}{'of it before':>14}")
    for one in thousands:
        frame = readings(1000 * one)
        rate = len(frame) / timed(lambda frame=frame: assess_frame(frame, rules))
        code = MEMORY.format(paths=sys.path[:2], subjects=1000 * one)
        ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        before, peak = map(float, ended.stdout.split())
        print(f"{one:<20}{rate:>12,.0f}{peak:>10,.0f}{before:>14,.0f}")
    print()


def engines() -> None:
    """Print the rule stage beside other ways to compare the same facts."""
    rates = {}
    for name, size in ENGINES.items():
        if name == "clipspy" and find_spec("clips") is None:
            print("clipspy is not installed")
            continue
        command = [sys.executable, str(HERE / "engines.py"), name, str(size)]
        rates[name] = float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    print(f"{'rules about readings, warm':<44}{'readings/s':>12}{'first is ×':>12}")
    for name, rate in rates.items():
        print(f"{name:<44}{rate:>12,.0f}{rates['heartlevel'] / rate:>12.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--thousands", default="1,10,100", help="sizes for growth; 1000 takes gigabytes")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    print(f"Python {platform.python_version()}, pandas {pd.__version__}\n")
    rules, frame = Rules.load(), readings(5_000)
    assess_frame(readings(100), rules)  # warm
    stages(frame, rules, given.rounds)
    against_pandas(frame, rules, given.rounds)
    ndjson(readings(500), rules, given.rounds)
    growth(rules, [int(one) for one in given.thousands.split(",")])
    engines()


if __name__ == "__main__":
    main()
