"""A build's own exponents: their source, and the trials that use them."""

import math

import numpy as np
import pandas as pd
import pytest

from analysis.columns import RUN_COLUMNS
from analysis.trials.inputs import trial_inputs
from analysis.trials.results import trial_results
from analysis.trials.sweeps import find_sweeps, season_prior
from tests.support.trial_columns import result_of, trials_frame

#: A sweep of n = 2.2 ± 0.06 that covers 3.2 to 4.9 m/s.
SWEPT = {
    "sweep_exponent": 2.2, "sweep_standard_error": 0.06, "sweep_slowest_m_s": 3.2,
    "sweep_fastest_m_s": 4.9,
}  # fmt: skip


def sweep(exponent, speeds=(3.2, 4.0, 4.9), build="a", session="s", load=30.1, started=0.0):
    """Return trials of an exact power law, one row per wind speed."""
    return [
        {"kind": "wind", "state": "accepted", "build_id": build, "session_id": session,
         "started_at": started, "load_ohm": load, "wind_speed_start_m_s": speed,
         "volts": math.sqrt(0.05 * (speed / 4) ** exponent * load)}
        for speed in speeds
    ]  # fmt: skip


def sweeps_of(*rows):
    frame = trials_frame(*rows)
    for name in ("state", "build_id", "session_id", "started_at"):
        frame[name] = [row[name] for row in rows]
    volts = [row["volts"] * factor for row in rows for factor in (0.999, 1.001)]
    runs = pd.DataFrame(math.nan, index=range(len(volts)), columns=list(RUN_COLUMNS)).assign(
        trial=np.repeat(range(len(rows)), 2), voltage_v=volts
    )
    return find_sweeps(frame, runs, trial_inputs(frame, runs))


class TestFound:
    def test_no_sweep_gives_no_result(self):
        assert sweeps_of(*({**row, "kind": "record"} for row in sweep(2.2))) == []

    def test_held_trials_do_not_count(self):
        assert sweeps_of(*({**row, "state": "held"} for row in sweep(2.2))) == []

    def test_two_speeds_give_the_reason(self):
        (one,) = sweeps_of(*sweep(2.2, speeds=(3.2, 4.9)))
        assert (one.fit, one.reason) == (None, "too_few_winds;least=3;got=2")

    def test_an_exponent_out_of_reach_is_not_used(self):
        (one,) = sweeps_of(*sweep(9.0))
        assert one.reason == "implausible_exponent;exponent=9"

    def test_each_build_has_its_own(self):
        one, other = sweeps_of(*sweep(2.2), *sweep(3.1, build="b"))
        assert (one.build_id, other.build_id) == ("a", "b")
        assert one.fit.exponent == pytest.approx(2.2, abs=1e-6)
        assert other.fit.exponent == pytest.approx(3.1, abs=1e-6)

    def test_loads_are_not_mixed_and_the_newest_sweep_counts(self):
        (one,) = sweeps_of(
            *sweep(2.2), *sweep(2.9, session="t", started=10.0, load=22.0),
            *sweep(2.5, speeds=(4.0, 4.1), session="u", started=20.0),
        )  # fmt: skip
        assert (one.session_id, one.load_ohm) == ("t", 22.0)
        assert one.fit.exponent == pytest.approx(2.9, abs=1e-6)


class TestUsed:
    def test_the_default_is_used_without_one(self):
        result = result_of()
        assert (result.wind_exponent[0], result.is_own_exponent[0]) == (2.6, False)

    def test_normalised_by_hand(self):
        """n drawn from 2.2 towards 2.6, m from n with E = 1.2 (1 + 8/30.1) + 0.1 V."""
        result = result_of(**SWEPT, winding_resistance_ohm=8.0, brush_drop_v=0.1)
        own, prior = 1 / (0.06**2 + 0.14**2), 1 / 0.4**2
        n = (2.2 * own + 2.6 * prior) / (own + prior)
        emf = 1.2 * (1 + 8 / 30.1) + 0.1
        b = emf / (emf - 0.1)
        m = (n - 2 * b) / (2 - 0.8 * b)
        assert result.wind_exponent[0] == pytest.approx(n)
        assert result.density_exponent[0] == pytest.approx(m)
        density = result.air_density_kg_m3[0]
        by_hand = 1.2**2 / 30.1 * (4 / 4.2) ** n * (1.225 / density) ** m
        assert result.normalised_power_w[0] == pytest.approx(by_hand)
        lever = math.log(4 / 4.2) + math.log(1.225 / density) / (2 - 0.8 * b)
        u_n = (own + prior) ** -0.5
        u_own = math.sqrt(
            0.04**2 / 3 + 0.03**2 + (lever * u_n) ** 2 + (math.log(1.225 / density) * 0.3) ** 2
        )
        assert result.u_own[0] == pytest.approx(u_own)

    def test_without_constants_the_density_exponent_is_the_default(self):
        result = result_of(**SWEPT)
        assert result.density_exponent[0] == 0.5
        assert result.exponent_lever[0] == pytest.approx(math.log(4 / 4.2))

    @pytest.mark.parametrize(
        ("wind", "status", "is_own"),
        [
            pytest.param(4.7, "direct", True, id="covered, though 17 % off"),
            pytest.param(3.2, "direct", True, id="slowest of the sweep"),
            pytest.param(5.0, "direct", True, id="a little beyond"),
            pytest.param(5.2, "out_of_range", False, id="too far"),
        ],
    )
    def test_it_reaches_as_far_as_its_sweep(self, wind, status, is_own):
        result = result_of(**SWEPT, wind_speed_start_m_s=wind)
        assert (result.normalisation[0], result.is_own_exponent[0]) == (status, is_own)

    def test_beyond_the_sweep_the_default_is_provisional(self):
        short = SWEPT | {"sweep_fastest_m_s": 4.2}
        result = result_of(**short, wind_speed_start_m_s=4.7)
        assert (result.normalisation[0], result.wind_exponent[0]) == ("provisional", 2.6)

    def test_an_own_exponent_narrows_the_doubt(self):
        far = {"wind_speed_start_m_s": 4.7}
        assert result_of(**SWEPT, **far).u_own[0] < result_of(**far).u_own[0]


class TestSeasonPrior:
    def of(self, exponents, error=0.1):
        return season_prior(
            {
                "season_sweeps": np.array([float(len(exponents))]),
                "season_mean_exponent": np.array([np.mean(exponents)]),
                "season_mean_square_exponent": np.array([np.mean(np.square(exponents))]),
                "season_mean_square_error": np.array([error**2]),
            }
        )

    def test_seven_sweeps_are_too_few(self):
        assert [each.tolist() for each in self.of([2.2] * 7)] == [[2.6], [0.4]]

    def test_eight_sweeps_define_mean_and_spread(self):
        exponents = [2.0, 2.2, 2.4, 2.6, 2.8, 3.0, 3.2, 3.4]
        mean, spread = self.of(exponents)
        assert mean[0] == pytest.approx(2.7)
        assert spread[0] == pytest.approx(math.sqrt(np.var(exponents, ddof=1) - 0.1**2 - 0.14**2))

    def test_alike_ones_still_leave_room(self):
        assert self.of([2.3] * 12)[1][0] == pytest.approx(0.1)

    def test_it_draws_the_exponent(self):
        season = {"season_sweeps": 9.0, "season_mean_exponent": 2.2,
                  "season_mean_square_exponent": 2.2**2 + 0.05,
                  "season_mean_square_error": 0.01}  # fmt: skip
        assert result_of(**SWEPT, **season).wind_exponent[0] == pytest.approx(2.2)


def test_results_are_the_same_together_or_in_parts():
    frame = trials_frame(SWEPT, {}, SWEPT | {"wind_speed_start_m_s": 4.6})
    runs = pd.DataFrame(math.nan, index=range(3), columns=list(RUN_COLUMNS)).assign(
        trial=range(3), voltage_v=[1.2, 1.1, 1.3]
    )
    at_once = trial_results(frame, runs).normalised_power_w
    parts = [
        trial_results(frame.iloc[[i]], runs.iloc[[i]].assign(trial=0)).normalised_power_w[0]
        for i in range(3)
    ]
    assert at_once.tolist() == parts
