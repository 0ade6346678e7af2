"""All measurements but those of the server and its hooks, one after the other: what README.md beside this file tells.

`python tests/bench/all_parts.py [--folder DIR]`. What is compared runs in turn in one process; times are of processors.
"""

import argparse
import subprocess
import sys
from pathlib import Path
from tempfile import gettempdir

HERE = Path(__file__).parent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", default=gettempdir(), help="where there is room for tables of some megabytes")
    given = parser.parse_args()
    for part in (
        ["same_work.py", "7"],
        ["run.py", "0"],
        ["bulk.py", "--thousands", "1,10", "--rounds", "3"],
        ["growth.py", "4"],
        ["streamed.py", "--folder", given.folder, "--thousands", "2,20", "--ten-million", "20000"],
    ):
        print(f"\n`{' '.join(part[:1])}`\n", flush=True)
        subprocess.run([sys.executable, str(HERE / part[0]), *part[1:]], check=True)


if __name__ == "__main__":
    main()
