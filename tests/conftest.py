"""What holds for every run of the tests: the same examples every time, and nothing left in the temporary directory.

`HYPOTHESIS_PROFILE=default` has property tests look for other examples, `HYPOTHESIS_PROFILE=long` for twenty times as many.
The run has a folder for temporary files of its own, which all its processes inherit; a run that leaves anything there
fails.
"""

import gc
import os
import signal
import tempfile
from pathlib import Path
from shutil import rmtree

import pytest
from hypothesis import settings

os.environ.pop("COLUMNS", None)  # whoever runs the tests in several processes may have set it; summaries follow it

settings.register_profile("repeatable", derandomize=True)
settings.register_profile("long", max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

SCRATCH = pytest.StashKey[Path]()
# Thousands of examples of what other tests cover too, folders and files: traced, they would take twice as long.
NOT_TRACED = {"property", "cohort", "test_analysis_whole.py", "test_damaged_files.py", "test_explaining.py",
              "test_never_worse.py", "test_silencing.py"}  # fmt: skip


# So many more objects made than let go of before Python looks for circles among them: at its 700, up to a quarter of the
# time of tests goes into looking through rule sets and pages that stay.
SELDOM = 50_000


def pytest_configure(config):
    gc.set_threshold(SELDOM, *gc.get_threshold()[1:])
    if not hasattr(config, "workerinput"):
        config.stash[SCRATCH] = Path(tempfile.mkdtemp(prefix="heartlevel-tests-"))
        os.environ["TMPDIR"] = str(config.stash[SCRATCH])
        tempfile.tempdir = None  # asked for anew
        os.environ["XDG_CACHE_HOME"] = str(config.stash[SCRATCH] / "pytest-of-all")
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:  # of a shell's background; processes of tests are interrupted too
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_make_parametrize_id(val, argname):
    """Name bytes by their argument: what was packed may hold the time, and each process must collect the same tests."""
    return argname if isinstance(val, bytes) else None


def pytest_collection_modifyitems(items):
    for item in items:
        if {item.path.parent.name, item.path.name} & NOT_TRACED:
            item.add_marker("no_cover")


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_sessionfinish(session):
    yield
    folder = session.config.stash.get(SCRATCH, None)
    if folder is None:
        return
    left = sorted(path.name for path in folder.iterdir() if not path.name.startswith("pytest-of-"))
    if left and session.config.option.numprocesses:  # with -n 0 what is removed when the process ends is there still
        session.config.get_terminal_writer().line(f"left in the temporary directory: {', '.join(left)}", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    rmtree(folder)  # what tests wrote is kept by --basetemp
