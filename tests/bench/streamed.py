"""How fast the bulk command is, what memory its processes take together, and how both grow with the number of subjects.

`python tests/bench/streamed.py [--folder DIR]` writes invented tables, runs `heartlevel assess` on them and prints a
table for README.md beside it. Times are of processors, of all processes, without those of a run on ten subjects (rules
loaded, modules imported); readings a second are of such times. Ten million readings take some gigabytes of the folder.
"""

import argparse
import os
import platform
import resource
import shutil
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent.parent / "service"), str(HERE)]

from invented import PER_SUBJECT, write  # noqa: E402

COMMAND = "from heartlevel.command.main import main; main()"
# One thread a process for arithmetic: others wait busily, which counts as time of a processor.
ENVIRONMENT = {**os.environ, "PYTHONPATH": sys.path[0], "OPENBLAS_NUM_THREADS": "1"}
TEN_MILLION = 10_000_000 // PER_SUBJECT + 1


@dataclass(frozen=True)
class Run:
    """What one run of the command took."""

    processor: float
    wall: float
    memory: float  # MB: the most that the processes held together
    shared_once: float  # MB: the same, what they share counted once


def run(file: Path, *options: str, to: str = "tables", workers: int = 1) -> Run:
    """Run the command on a file; its output is thrown away."""
    with TemporaryDirectory(dir=file.parent) as folder:
        output = Path(folder) / "out"
        command = [sys.executable, "-c", COMMAND, "assess", str(file), "--to", to, "--output", str(output),
                   "--problems", str(Path(folder) / "problems"), "--workers", str(workers), *options]  # fmt: skip
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        with subprocess.Popen(command, env=ENVIRONMENT) as process:
            watch = Watch(process.pid)
            status = process.wait()
        watch.join()
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        if status not in (0, 10):
            sys.exit(f"{file.name}: the command ended with {status}")
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(used, time.perf_counter() - began, watch.most["Rss"], watch.most["Pss"])


class Watch(threading.Thread):
    """Looks every now and then at the memory of a process and its children, until it ends."""

    def __init__(self, first: int) -> None:
        super().__init__(daemon=True)
        self.first, self.most = first, {"Rss": 0.0, "Pss": 0.0}
        self.start()

    def run(self) -> None:
        while held := [found for pid in family(self.first) if (found := memory_of(pid))]:
            for kind in self.most:
                self.most[kind] = max(self.most[kind], sum(one[kind] for one in held) / 1000)
            time.sleep(0.1)


def family(pid: int) -> list[int]:
    try:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except (FileNotFoundError, ProcessLookupError):
        return []
    return [pid, *(one for child in children for one in family(int(child)))]


def memory_of(pid: int) -> dict[str, float]:
    """Return what a process holds, in kB; nothing if it has ended."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except (FileNotFoundError, ProcessLookupError, PermissionError):
        return {}
    named = {line.partition(":")[0]: line.split()[1] for line in lines[1:]}
    return {kind: float(named[kind]) for kind in ("Rss", "Pss")}


def show(what: str, subjects: int, found: Run, start: Run) -> float:
    """Print a line; return the microseconds a reading took."""
    size = subjects * PER_SUBJECT
    each = (found.processor - start.processor) / size
    print(f"| {what} | {size:,} | {1 / each:,.0f} | {1e6 * each:.2f} | {found.wall:.0f} | {found.memory:,.0f} "
          f"| {found.shared_once:,.0f} |", flush=True)  # fmt: skip
    return 1e6 * each


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, help="where there is room for the tables; by default among temporary files")
    parser.add_argument("--thousands", default="10,100,1000", help="thousand subjects, for growth")
    parser.add_argument("--ten-million", type=int, default=TEN_MILLION, help="subjects of the large runs; 0 for none")
    given = parser.parse_args()
    with TemporaryDirectory(dir=given.folder) as folder:
        free = shutil.disk_usage(folder).free >> 30
        print(f"Python {platform.python_version()}, {os.cpu_count()} processors, {free} GB free\n")
        print("| what | readings | readings/s of processor | µs each | wall s | MB together | shared once |")
        print("|---|---|---|---|---|---|---|")
        measure(Path(folder), [1000 * int(one) for one in given.thousands.split(",")], given.ten_million)


def measure(folder: Path, sizes: list[int], large: int) -> None:
    file = table(folder, "parquet", 10)
    start = {workers: run(file, workers=workers) for workers in (1, 2)}
    growing(folder, sizes, start[1])
    few = table(folder, "parquet", sizes[0])
    for to in ("findings", "ndjson"):
        show(f"Parquet to {to}, 1 process", sizes[0], run(few, to=to), start[1])
    if not large:
        return
    file = table(folder, "parquet", large)
    show("Parquet to tables, rows in any order", large, run(file), start[1])
    one = run(file, "--grouped")
    show("Parquet to tables, grouped", large, one, start[1])
    two = run(file, "--grouped", workers=2)
    show("the same, 2 processes", large, two, start[2])
    print(f"\n2 processes take {two.wall / one.wall:.2f} of the time on the clock of 1\n")
    file.unlink()
    file = table(folder, "csv", large)
    show("CSV to tables, rows in any order, 2 processes", large, run(file, workers=2), start[2])


def growing(folder: Path, sizes: list[int], start: Run) -> None:
    """Run sizes, each between two runs of the smallest: what else the machine does meets both."""
    few = table(folder, "parquet", sizes[0])

    def smallest() -> float:
        return show(f"Parquet to tables, grouped, {sizes[0]:,} subjects", sizes[0], run(few, "--grouped"), start)

    before = smallest()
    for subjects in sizes[1:]:
        file = table(folder, "parquet", subjects)
        took = show(f"the same, {subjects:,} subjects", subjects, run(file, "--grouped"), start)
        file.unlink()
        after = smallest()
        print(f"| a reading of {subjects:,} subjects takes {2 * took / (before + after):.2f} of one of {sizes[0]:,} |")
        before = after


def table(folder: Path, ending: str, subjects: int) -> Path:
    """Write an invented table, unless it is there."""
    path = folder / f"{subjects}.{ending}"
    if not path.exists():
        write(path, subjects)
    return path


if __name__ == "__main__":
    main()
