"""Control charts of the reference rotor and its drift, against least squares and by simulation."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from analysis.comparison.control_chart import (
    SECONDS_A_WEEK,
    control_charts,
    freed_of_drift,
    rotor_drift,
)
from analysis.comparison.design import Spread

QUIET = Spread(session=0.03, residual=1.0)


def rotor(log_power, benches=1, u=0.02, **changed):
    """Return sessions of a rotor, one a week at each bench, one trial each."""
    log_power = np.asarray(log_power, dtype=float)
    each = len(log_power) // benches
    columns = {
        "log_power": log_power,
        "u_own": np.full(len(log_power), u),
        "build_id": ["rotor"] * len(log_power),
        "bench_id": np.repeat([f"b{at}" for at in range(benches)], each),
        "session_id": [f"s{at:03}" for at in range(len(log_power))],
        "started_at": SECONDS_A_WEEK * np.tile(np.arange(each, dtype=float), benches),
    }
    return columns | changed


class TestCharts:
    def test_one_session_is_no_chart(self):
        assert control_charts(rotor([-2.8])) == []

    def test_a_session_far_off_is_seen_and_no_other(self):
        [chart] = control_charts(rotor([0.0, 0.01, -0.01, 0.30, 0.0, 0.0]), QUIET)
        assert [point.verdict for point in chart.points] == ["fine"] * 3 + ["act", "fine", "fine"]

    def test_benches_are_compared_with_themselves_only(self):
        charts = control_charts(rotor([0.0, 0.01, 0.0, 0.5, 0.51, 0.5], benches=2), QUIET)
        assert [chart.bench_id for chart in charts] == ["b0", "b1"]
        assert {point.verdict for chart in charts for point in chart.points} == {"fine"}

    def test_trials_of_one_session_are_one_point(self):
        columns = rotor([0.0, 0.02, 0.10, 0.12], session_id=["s", "s", "t", "t"])
        [chart] = control_charts(columns, QUIET)
        assert [point.trials for point in chart.points] == [2, 2]
        assert [point.off for point in chart.points] == pytest.approx([-0.05, 0.05])

    def test_points_are_in_order_of_time(self):
        columns = rotor([0.0, 0.02, 0.10])
        columns["started_at"] = columns["started_at"][::-1]
        [chart] = control_charts(columns, QUIET)
        assert [point.session_id for point in chart.points] == ["s002", "s001", "s000"]

    @pytest.mark.parametrize(("newest", "expected"), [(7, None), (8, "s004"), (9, "s004")])
    def test_eight_in_a_row_on_one_side_have_moved(self, newest, expected):
        before = [0.02, -0.08, 0.02, -0.08]
        [chart] = control_charts(rotor([*before, *[0.02] * newest]), QUIET)
        assert chart.moved_at == expected

    def test_z_scores_of_a_steady_rotor_are_standard_normal(self):
        """By simulation: 4.6 % beyond 2, 0.27 % beyond 3, as of any normal figure."""
        rng = np.random.default_rng(5)
        z = []
        for _ in range(400):
            seen = rng.normal(0, np.hypot(0.03, 0.02), 10)
            [chart] = control_charts(rotor(seen), QUIET)
            z += [point.z for point in chart.points]
        assert np.std(z) == pytest.approx(1, abs=0.05)
        assert np.mean(np.abs(z) > 2) == pytest.approx(0.0455, abs=0.012)


class TestDrift:
    def test_too_few_sessions_or_too_short_a_time(self):
        assert rotor_drift(rotor([0.0, 0.1, 0.2])) is None
        quick = rotor([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7], benches=2)
        quick["started_at"] = quick["started_at"] / 2
        assert rotor_drift(quick) is None

    def test_all_sessions_of_a_bench_at_one_time(self):
        columns = rotor(np.zeros(12), benches=12)
        columns["started_at"] = SECONDS_A_WEEK * np.arange(12.0)
        assert rotor_drift(columns) is None

    def test_weighted_least_squares_by_a_reference_library(self):
        """Statsmodels' WLS with a dummy for each bench."""
        rng = np.random.default_rng(8)
        columns = rotor(rng.normal(0, 0.05, 24) - 0.01 * np.tile(np.arange(8), 3), benches=3)
        columns["u_own"] = rng.uniform(0.01, 0.05, 24)
        design = pd.get_dummies(columns["bench_id"]).astype(float)
        design["weeks"] = columns["started_at"] / SECONDS_A_WEEK
        weights = 1 / (QUIET.session**2 + columns["u_own"] ** 2)
        expected = sm.WLS(columns["log_power"], design, weights=weights).fit()
        drift = rotor_drift(columns, QUIET)
        assert drift.per_week == pytest.approx(expected.params["weeks"])
        assert drift.interval == pytest.approx(tuple(expected.conf_int(0.05).loc["weeks"]))
        assert drift.benches == 3

    def test_a_single_bench_cannot_tell_the_rotor_from_the_fan(self):
        falling = -0.02 * np.arange(12.0) + 0.005 * np.tile([1, -1], 6)
        assert not rotor_drift(rotor(falling)).is_certain
        assert rotor_drift(rotor(np.tile(falling, 2), benches=2)).is_certain

    def test_a_steady_rotor_is_rarely_said_to_drift(self):
        """By simulation: 1 % of seasons is stated."""
        rng = np.random.default_rng(11)
        called = [
            rotor_drift(rotor(rng.normal(0, 0.05, 30), benches=3)).is_certain for _ in range(1500)
        ]
        assert np.mean(called) < 0.02

    def test_the_interval_holds(self):
        """By simulation: 95 % is stated."""
        rng = np.random.default_rng(12)
        held = []
        for _ in range(1000):
            seen = rng.normal(0, 0.05, 30) - 0.01 * np.tile(np.arange(10), 3)
            low, high = rotor_drift(rotor(seen, benches=3)).interval
            held.append(low < -0.01 < high)
        assert np.mean(held) == pytest.approx(0.95, abs=0.025)


class TestFreedOfDrift:
    def season(self, falling):
        """Return a rotor at two benches, and a team's trials at one of them."""
        columns = rotor(np.tile(falling, 2), benches=2, team_id=[""] * (2 * len(falling)))
        team = rotor([-3.0] * 3, team_id=["team"] * 3, build_id=["build"] * 3)
        return {name: np.concatenate([columns[name], team[name]]) for name in columns}

    def test_a_rotor_that_falls_steadily_stays_as_it_was_in_the_middle(self):
        trials = self.season(-2.8 - 0.02 * np.arange(9.0))
        ln_power, drift = freed_of_drift(trials)
        assert drift.is_certain
        assert ln_power[:18] == pytest.approx(-2.8 - 0.02 * 4)
        assert ln_power[18:].tolist() == [-3.0] * 3

    def test_a_rotor_that_only_scatters_is_left_as_it_is(self):
        trials = self.season(-2.8 + 0.05 * np.array([1, -1, 1, 1, -1, -1, 1, -1, 0]))
        ln_power, drift = freed_of_drift(trials)
        assert not drift.is_certain
        assert ln_power.tolist() == trials["log_power"].tolist()

    def test_without_a_rotor_nothing_changes(self):
        trials = {name: column[18:] for name, column in self.season(np.zeros(9)).items()}
        ln_power, drift = freed_of_drift(trials)
        assert drift is None
        assert ln_power.tolist() == [-3.0] * 3
