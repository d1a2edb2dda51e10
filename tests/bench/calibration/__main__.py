"""Print how well every probability, interval and verdict keeps its word.

Usage: python -m tests.bench.calibration [--seeds N] [SCENARIO…]
"""

import argparse
import time

from tests.bench.calibration import comparison
from tests.bench.calibration.scenarios import SCENARIOS


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("scenarios", nargs="*")
    asked = parser.parse_args()
    for of in SCENARIOS:
        if asked.scenarios and not any(each in of.name for each in asked.scenarios):
            continue
        started = time.monotonic()
        row = comparison.score(of, asked.seeds).row()
        print(f"{of.name:32}", *(f"{value:6.3f}" for value in row.values()),
              f"{time.monotonic() - started:4.0f} s", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
