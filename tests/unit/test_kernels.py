"""Without its compiled loops the package says so, once, and answers the same."""

import json
import os
import subprocess
import sys
from pathlib import Path
from shutil import copytree, ignore_patterns

import heartlevel
from support import answer, week

CALL = """
import json, sys
from heartlevel import Rules, answer_to
print(json.dumps(answer_to(json.load(sys.stdin), Rules.load())))
"""
TOP = Path(heartlevel.__file__).parents[2]


def test_loops_compiled_from_other_sources_are_not_taken(tmp_path):
    copytree(TOP / "service", tmp_path / "service", ignore=ignore_patterns("__pycache__"))
    kernels = tmp_path / "service" / "heartlevel" / "kernels"
    surroundings = {**os.environ, "PYTHONPATH": str(tmp_path / "service")}
    call = [sys.executable, "-c", "import heartlevel.kernels"]
    subprocess.run(call, check=True, env=surroundings)
    with (kernels / "judging.py").open("a") as source:
        source.write("# changed\n")
    refused = subprocess.run(call, check=False, env=surroundings, capture_output=True, text=True)
    assert refused.returncode and "Install it again" in refused.stderr.splitlines()[-1]
    (kernels / "compiled-from").unlink()
    assert subprocess.run(call, check=False, env=surroundings, capture_output=True).returncode


def test_interpreted_it_answers_the_same_and_says_that_it_is_slow(tmp_path):
    ignored = ignore_patterns("*.so", "*.pyd", "compiled-from", "__pycache__")
    for name in ("service", "rules", "openapi"):
        copytree(TOP / name, tmp_path / name, ignore=ignored)
    surroundings = {**os.environ, "PYTHONPATH": str(tmp_path / "service"), "XDG_CACHE_HOME": str(tmp_path / "cache")}
    call = [sys.executable, "-c", CALL]
    done = subprocess.run(call, input=json.dumps(week(3)), capture_output=True, text=True, check=True, env=surroundings)
    assert json.loads(done.stdout) == json.loads(json.dumps(answer(week(3))))
    assert done.stderr.count("RuntimeWarning: heartlevel runs without its compiled loops") == 1
