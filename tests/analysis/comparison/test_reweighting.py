"""Odd trials count less, by Huber's weights; a small season assumes how much it scatters."""

import numpy as np
import pytest

from analysis.comparison.design import Spread
from analysis.comparison.reweighting import (
    HUBER_FROM,
    TRIALS_TO_ESTIMATE,
    MeasuredSeason,
    fit_robustly,
    has_enough,
)
from analysis.errors import InvalidInput, TooFewTrials


def season(count=24, benches=4, **changed):
    """Return trials of three builds in turn at some benches, one of them far off."""
    at = np.arange(count)
    log_power = -3 + 0.1 * (at % 3) + 0.01 * np.cos(at)
    log_power[7] += 0.8
    return {
        "log_power": log_power, "u_own": np.full(count, 0.03),
        "build_id": [f"b{each % 3}" for each in at], "team_id": [f"t{each % 3}" for each in at],
        "bench_id": [f"n{each % benches}" for each in at],
        "session_id": [f"s{each % benches}" for each in at],
    } | changed  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        pytest.param({"log_power": [np.nan] * 24}, InvalidInput, id="no number"),
        pytest.param({"u_own": [0.0] * 24}, InvalidInput, id="no uncertainty"),
        pytest.param({name: [] for name in season()}, TooFewTrials, id="no trial"),
    ],
)
def test_trials_that_cannot_be_fitted_are_refused(changed, error):
    with pytest.raises(error):
        MeasuredSeason(season(**changed))


def test_converged_weights_are_hubers():
    """Huber (1964): the weight is 1 up to 2.5 standard deviations, and 2.5/|z| beyond."""
    measured, spread = MeasuredSeason(season()), Spread()
    solution, weights = fit_robustly(measured, spread, np.ones(24), rounds=50, settled=1e-9)
    z = np.abs(solution.residuals / (measured.u * spread.residual))
    assert weights == pytest.approx(np.minimum(1, HUBER_FROM / np.maximum(z, 1e-12)), abs=1e-6)
    assert weights[7] < 0.5
    assert np.median(weights) == 1


def test_a_trial_of_weight_nothing_stays_out():
    weights = np.ones(24)
    weights[3] = 0
    assert fit_robustly(MeasuredSeason(season()), Spread(), weights)[1][3] == 0


@pytest.mark.parametrize(
    ("count", "benches", "expected"),
    [(TRIALS_TO_ESTIMATE, 4, True), (TRIALS_TO_ESTIMATE - 1, 4, False), (400, 3, False)],
)
def test_a_spread_is_estimated_from_forty_trials_at_four_benches(count, benches, expected):
    assert has_enough(MeasuredSeason(season(count, benches)).model) == expected
