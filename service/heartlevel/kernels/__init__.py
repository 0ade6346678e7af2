"""Loops over readings in plain Python, compiled when the package is installed (`service/build_kernels.py`).

By which types is said in the `.pxd` beside each. What is compiled here is what takes most of the time as many small array
operations; the same files run interpreted, to be read, traced and tested, with the same bits.
"""

from pathlib import Path
from warnings import warn

from heartlevel.kernels import averaging, cells, digits, judging, sittings
from heartlevel.kernels.sources import COMPILED_FROM, digest_of_loops

FOLDER = Path(__file__).parent

LOOPS = (averaging, cells, digits, judging, sittings)
MARK = FOLDER / COMPILED_FROM
CURE = "Install it again from its sources (pip install --no-deps -e .), which needs gcc and Python's headers."

if any((module.__file__ or "").endswith(".py") for module in LOOPS):
    slow = "heartlevel runs without its compiled loops: answers are the same, but take many times as long."
    warn(f"{slow} {CURE}", RuntimeWarning, stacklevel=2)
elif not MARK.is_file() or MARK.read_text() != digest_of_loops(FOLDER):
    raise ImportError(f"heartlevel's loops were compiled from other sources than those beside them. {CURE}")
