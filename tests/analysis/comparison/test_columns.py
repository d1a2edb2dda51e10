"""The columns that the season's fit reads, by hand from a trial's result."""

import math

import numpy as np
import pytest

from analysis.comparison.columns import compared_columns
from analysis.trials.results import trial_results
from tests.support.trial_columns import runs_frame, trials_frame

NAMES = {"build_id": "b", "team_id": "t", "bench_id": "k", "session_id": "s"}


def columns(**facts):
    """Return the columns of one trial of three runs."""
    results = trial_results(trials_frame(facts), runs_frame(1.2, 1.2, 1.2))
    ids = {name: np.array([value]) for name, value in NAMES.items()}
    return compared_columns(ids, results), results


def test_scatter_of_runs_and_of_the_place_and_nothing_shared():
    """√(0.04²/3 + 0.02²) = 0.0306: the exponents' errors are no scatter."""
    found, results = columns(wind_speed_m_s=4.4)
    assert found["u_own"][0] == pytest.approx(math.sqrt(0.04**2 / 3 + 0.02**2))
    assert found["log_power"][0] == pytest.approx(math.log(results.normalised_power_w[0]))
    assert {name: found[name][0] for name in NAMES} == NAMES


def test_what_one_standard_uncertainty_of_the_exponents_moves():
    """ln(4/4.4) · 0.4 for wind, and ln(1.225/ρ) · 0.3 for air."""
    found, results = columns(wind_speed_m_s=4.4)
    assert found["u_wind_exponent"][0] == pytest.approx(math.log(4 / 4.4) * 0.4)
    in_air = math.log(1.225 / results.air_density_kg_m3[0]) * 0.3
    assert found["u_density_exponent"][0] == pytest.approx(in_air)


def test_at_the_reference_wind_the_exponent_moves_nothing():
    found, _ = columns(wind_speed_m_s=4.0)
    assert found["u_wind_exponent"][0] == pytest.approx(0.0)
