"""The season model beside a general solver of the same least squares."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import lsqr

from analysis.comparison import fit_season
from tests.bench.columns import SCALES
from tests.bench.large_season import invented
from tests.bench.timing import Row, interleaved

TRIALS_OF_A_BUILD = 20


def rows(scale: str) -> Iterator[Row]:
    """Yield ours, which estimates the spreads and gives covariances, beside one bare `lsqr`."""
    trials, _ = SCALES[scale]
    season = invented(trials // TRIALS_OF_A_BUILD, trials)
    matrix, right = design(season)
    repeats = 5 if trials < 500_000 else 1
    taken = interleaved({
        "ours": lambda: fit_season(season),
        "lsqr": lambda: lsqr(matrix, right, atol=1e-10, btol=1e-10, iter_lim=2000),
    }, repeats)  # fmt: skip
    yield Row(f"season model, {trials:,} trials", taken["ours"], "scipy lsqr", taken["lsqr"], 0.25)


def design(season: dict[str, Any]) -> tuple[sparse.csr_matrix, np.ndarray]:
    """Return the rows of builds and sessions, with a little ridge, and the weighted log powers."""
    builds = np.unique(season["build_id"], return_inverse=True)[1]
    sessions = np.unique(season["session_id"], return_inverse=True)[1]
    count, width = len(builds), builds.max() + 1 + sessions.max() + 1
    at = np.arange(count)
    weight = 1 / season["u_own"]
    data = np.concatenate([weight, weight])
    columns = np.concatenate([builds, builds.max() + 1 + sessions])
    matrix = sparse.csr_matrix((data, (np.concatenate([at, at]), columns)), (count, width))
    ridge = sparse.identity(width, format="csr") * 1e-3
    right = np.concatenate([weight * season["log_power"], np.zeros(width)])
    return sparse.vstack([matrix, ridge]).tocsr(), right
