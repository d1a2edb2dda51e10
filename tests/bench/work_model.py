"""Measure the season model: one solution against a general solver, and complete fits."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import lsqr

from analysis.comparison.design import Model, Spread
from analysis.comparison.fit import fit_season
from analysis.comparison.solver import Solution, WeightedTrials
from tests.bench.columns import SCALES
from tests.bench.large_season import invented
from tests.bench.timing import Row, interleaved

TRIALS_OF_A_BUILD = 20
REGION_BUILDS, REGION_MOST_S = 500, 0.5
SAME_TO = 1e-4
SET_FROM = 1_000_000  # trials: the goal is of a country


def rows(scale: str) -> Iterator[Row]:
    """Yield one solution with its uncertainties against `lsqr`, and a region's fit with pairs."""
    trials, _ = SCALES[scale]
    season = invented(trials // TRIALS_OF_A_BUILD, trials)
    model, matrix, right = written_out(season)
    weight = season["u_own"] ** -2.0
    works = {
        "ours": lambda: Solution(WeightedTrials(model, season["log_power"], weight), Spread()),
        "lsqr": lambda: lsqr(matrix, right, atol=1e-9, btol=1e-9, iter_lim=5000),
    }
    _require_same(works["ours"](), works["lsqr"]()[0])
    taken = interleaved(works, 5 if trials < 500_000 else 3)
    yield Row(f"season model solved, {trials:,} trials", taken["ours"], "scipy lsqr",
              taken["lsqr"], 0.25 if trials >= SET_FROM else None)  # fmt: skip
    region = invented(REGION_BUILDS, REGION_BUILDS * TRIALS_OF_A_BUILD)
    fits = interleaved({"ours": lambda: fit_season(region).covariance})
    yield Row(f"season model fitted, {REGION_BUILDS} builds, with covariances", fits["ours"],
              "500 ms", REGION_MOST_S, 1.0)  # fmt: skip


def _require_same(ours: Solution, theirs: np.ndarray) -> None:
    apart = float(np.max(np.abs(ours.terms - theirs)))
    if apart > SAME_TO:
        raise AssertionError(f"the two solutions differ by {apart:.1e}")


def written_out(season: dict[str, Any]) -> tuple[Model, Any, np.ndarray]:
    """Return the model, and its weighted rows and priors as one least-squares problem."""
    model = Model(season)
    weight = 1 / season["u_own"]
    rows = sparse.diags_array(weight) @ model.design[model.cells.codes]
    priors = sparse.diags_array(np.sqrt(model.precision(Spread())))
    right = np.concatenate([weight * season["log_power"], np.zeros(model.size)])
    return model, sparse.vstack([rows, priors]).tocsr(), right
