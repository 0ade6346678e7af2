"""How the time grows with readings, subjects, rules and layers: each as the exponent of its size; 1 is in proportion.

`python tests/bench/growth.py [ROUNDS]`. Processor time, sizes in turn, of each the lowest of the rounds (tenth, of many).
"""

import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import mean
from tempfile import TemporaryDirectory
from time import process_time

import numpy as np

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent.parent / "service"), str(HERE.parent), str(HERE)]

from body import payload  # noqa: E402

from heartlevel import Rules, answer_to  # noqa: E402
from heartlevel.intake.request import read  # noqa: E402
from heartlevel.one_call import answer_requests  # noqa: E402
from heartlevel.resources import shipped  # noqa: E402
from heartlevel.ruling.files.loading import load  # noqa: E402
from support import OWN_RULE  # noqa: E402

Works = dict[int, Callable[[], object]]  # by size
TIMES_AS_MANY = (1, 2, 4, 7)  # rules


def lowest_tenth(times: list[float]) -> float:
    ordered = sorted(times)
    return mean(ordered[: max(1, len(ordered) // 10)])


def grown(what: str, works: Works, rounds: int) -> None:
    """Print what each size takes, what each is of the first, and the exponent: the slope of a line through logarithms."""
    times: dict[int, list[float]] = {size: [] for size in works}
    for _ in range(rounds):
        for size, work in works.items():
            began = process_time()
            work()
            times[size].append(process_time() - began)
    took = {size: lowest_tenth(several) for size, several in times.items()}
    slope = np.polyfit(np.log(list(took)), np.log(list(took.values())), 1)[0]
    first = next(iter(took.values()))
    shown = ", ".join(f"{size:,}: {1000 * time:,.0f} ms (× {time / first:.1f})" for size, time in took.items())
    print(f"| {what} | {shown} | {slope:.2f} |", flush=True)


def of_readings(rules: Rules) -> Works:
    """One request, of more and more days."""
    requests = {days * 4: _days(days) for days in (70, 140, 280, 560)}
    return {size: lambda sent=sent: answer_to(sent, rules) for size, sent in requests.items()}


def _days(count: int) -> dict:
    """Return the benchmark's request with so many days of four readings."""
    whole = payload()
    several = []
    for day in range(count):
        date = np.datetime64("2024-01-01") + day
        several += [{**reading, "taken_at": f"{date}{reading['taken_at'][10:]}"} for reading in whole["readings"][:4]]
    return whole | {"readings": [{**reading, "id": f"r-{number}"} for number, reading in enumerate(several)]}


def of_subjects(rules: Rules) -> Works:
    """Requests assessed and answered together."""
    request = read(payload(), rules.ruleset.choices)
    return {
        size: lambda size=size: list(answer_requests([request] * size, rules)) for size in (64, 128, 256, 512)
    }  # fmt: skip


def of_rules(folder: Path) -> Works:
    """The shipped rules loaded, and so many times as many: those added compare the pulse with thresholds of their own."""
    works: Works = {}
    shipped_rules = len(load().every_rule())
    for times in TIMES_AS_MANY:
        copy = folder / f"rules-{times}"
        shutil.copytree(shipped("rules"), copy)
        for number in range(1, times):
            rules = [_own_rule(shipped_rules * number + place) for place in range(shipped_rules)]
            (copy / "reading" / f"more-{number}.yaml").write_text("".join(rules))
        works[shipped_rules * times] = lambda copy=copy: Rules.compiled(load(copy))
    return works


def _own_rule(number: int) -> str:
    threshold = 60 + number / 100
    rule = OWN_RULE.replace("pulse-fast-here", f"pulse-fast-{number}").replace(
        "title: Fast pulse", f"title: Pulse {number}"
    )
    return rule.replace("above: 100", f"above: {threshold}").replace("pulse: 101", f"pulse: {threshold + 1}").replace(
        "{pulse: 100}", f"{{pulse: {threshold}}}"
    )  # fmt: skip


def of_layers(folder: Path) -> Works:
    """The shipped rules under layers of one rule each."""
    layers = []
    for number in range(8):
        layer = folder / f"layer-{number}"
        (layer / "reading").mkdir(parents=True)
        head = f"id: clinic-{number}\nname: Clinic {number}\nrevision: 2026-03-01\n"
        (layer / "layer.yaml").write_text(head)
        (layer / "reading" / "own.yaml").write_text(_own_rule(number))
        layers.append(layer)
    return {size: lambda size=size: Rules.load(layers=layers[:size]) for size in (1, 2, 4, 8)}


def main(rounds: int = 5) -> None:
    rules = Rules.load()
    print("| what grows | what it takes | exponent |\n|---|---|---|")
    grown("readings of one request", of_readings(rules), rounds)
    grown("requests of 28 readings answered together", of_subjects(rules), rounds)
    with TemporaryDirectory() as folder:
        grown("rules loaded", of_rules(Path(folder)), rounds)
        grown("layers over the shipped rules, loaded and tried", of_layers(Path(folder)), rounds)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
