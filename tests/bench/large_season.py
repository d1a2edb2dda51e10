"""How long the season model takes on a season far larger than any: time and memory, printed.

Usage: python -m tests.bench.large_season [BUILDS] [TRIALS]

Each team has six builds, five teams share a bench, and the reference rotor runs at each bench.
"""

import resource
import sys
import time
from typing import Any

import numpy as np

from analysis.comparison.fit import fit_season

BUILDS_OF_A_TEAM, TEAMS_OF_A_BENCH, TRIALS_OF_A_SESSION = 6, 5, 8
ASSIGNED_LN_POWER = -2.8


def main(arguments: list[str]) -> None:
    """Print the figures of a fit and of one a quarter as large."""
    builds, trials = (int(arguments[0]), int(arguments[1])) if arguments else (5_000, 100_000)
    quarter, complete = _seconds(builds // 4, trials // 4), _seconds(builds, trials)
    memory_gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(
        f"{builds} builds, {trials} trials: {complete:.1f} s, process at most {memory_gib:.2f} GiB"
    )
    print(f"four times the season takes {complete / quarter:.1f} times as long")


def _seconds(builds: int, trials: int) -> float:
    season = invented(builds, trials)
    start = time.perf_counter()
    fit_season(season)
    return time.perf_counter() - start


def invented(builds: int, trials: int) -> dict[str, Any]:
    """Return a season's log powers, each with the effects the model knows."""
    rng = np.random.default_rng(2026)
    build = rng.integers(0, builds, trials)
    # In the order of benches: a session is one bench's, with builds of any of its teams.
    build = build[np.argsort(build // (BUILDS_OF_A_TEAM * TEAMS_OF_A_BENCH), kind="stable")]
    team = build // BUILDS_OF_A_TEAM
    bench = team // TEAMS_OF_A_BENCH
    is_reference = rng.random(trials) < 0.05
    session = bench * trials + np.arange(trials) // TRIALS_OF_A_SESSION
    ability = rng.normal(-3.0, 0.5, builds)[build]
    ability[is_reference] = ASSIGNED_LN_POWER
    offset = rng.normal(0.0, 0.12, bench.max() + 1)[bench]
    return {
        "log_power": ability + offset + rng.normal(0.0, 0.05, trials),
        "u_own": np.full(trials, 0.04),
        "build_id": np.where(is_reference, "reference", np.char.mod("build %d", build)),
        "team_id": np.where(is_reference, "", np.char.mod("team %d", team)),
        "bench_id": np.char.mod("bench %d", bench),
        "session_id": np.char.mod("session %d", session),
    }


if __name__ == "__main__":
    main(sys.argv[1:])
