"""Measure works against their usual alternatives, and print a table of ratios.

Usage: python tests/bench/run.py [NAME…] --scale club|region|country

Every ratio is measured in this one run, rounds interleaved, medians of five. Exit code 1 where a
goal does not hold.
"""

import argparse
import importlib
import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the service does for itself

WORKS = ("analysis", "model", "outlook", "report", "readers", "pages", "views", "command",
         "requests", "store", "processes", "beside", "stall", "import", "start")  # fmt: skip


def main() -> None:
    from scripts import environment

    environment.run_inside("bench")
    from tests.bench.columns import SCALES
    from tests.bench.timing import machine
    from tests.reliability.places import print_table

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", choices=[[], *WORKS])
    parser.add_argument("--scale", choices=list(SCALES), default="club")
    asked, rows = parser.parse_args(), []
    for name in asked.names or WORKS:
        module = importlib.import_module(f"tests.bench.work_{name}")
        rows += module.rows(asked.scale)
    print_table(f"{asked.scale}: {machine()}", [row.cells() for row in rows])
    raise SystemExit(not all(row.holds for row in rows))


if __name__ == "__main__":
    main()
