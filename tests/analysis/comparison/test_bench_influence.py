"""The influence of benches: the fit without a bench is the fit of the other benches' trials."""

import numpy as np
import pytest

from analysis.comparison.bench_influence import bench_influences, can_leave_out
from analysis.comparison.fit import fit_season


def season(**changed):
    """Return two teams at their benches; a rotor at both, and at a third that reads otherwise."""
    rows = [
        ("a", "x", "1", "s1", -3.0), ("a", "x", "1", "s1", -3.02), ("ref", "", "1", "s1", -2.8),
        ("b", "y", "2", "s2", -3.05), ("b", "y", "2", "s2", -3.07), ("ref", "", "2", "s2", -2.8),
        ("b", "y", "3", "s3", -2.80), ("b", "y", "3", "s3", -2.82), ("ref", "", "3", "s3", -2.8),
    ]  # fmt: skip
    names = ("build_id", "team_id", "bench_id", "session_id", "log_power")
    columns = {
        name: np.array(column) for name, column in zip(names, zip(*rows, strict=True), strict=True)
    }
    return columns | {"u_own": np.full(len(rows), 0.03)} | changed


def influence_of(bench_id, trials, builds, **asked):
    fit = fit_season(trials, **asked)
    found = bench_influences(trials, fit, builds, **asked)
    return next(each for each in found if each.bench_id == bench_id), fit


def test_a_build_that_ran_nowhere_else_is_not_judged():
    trials = season()
    found = bench_influences(trials, fit_season(trials), ["a", "b"])
    assert "1" not in [each.bench_id for each in found]


def test_the_bench_that_decides_an_order():
    """Build b is behind at its own bench and ahead at the third one."""
    one, fit = influence_of("3", season(), ["a", "b"])
    assert fit.effects["b"] > fit.effects["a"]
    [pair] = one.reversed
    assert (pair.a, pair.b) == ("b", "a")
    assert pair.before > 0.5 > pair.after
    assert one.builds == 2


def test_the_shift_is_that_of_a_fit_of_the_other_trials():
    trials = season()
    one, fit = influence_of("3", trials, ["a", "b"])
    stays = trials["bench_id"] != "3"
    again = fit_season({name: column[stays] for name, column in trials.items()}, spread=fit.spread)
    moved = {build: again.effects[build] - fit.effects[build] for build in ("a", "b")}
    expected = (moved["b"] - moved["a"]) / 2
    sign = 1 if one.largest_shift_of == "b" else -1
    assert one.largest_shift == pytest.approx(sign * expected)


def test_a_bench_that_is_the_only_link():
    """Without the rotor at benches 1 and 2, only build c's visit to both joins them."""
    trials = season(build_id=np.array(["a", "a", "v", "b", "b", "v", "b", "b", "w"]))
    trials["team_id"] = np.array(["x", "x", "z", "y", "y", "z", "y", "y", "q"])
    one, _ = influence_of("2", trials, ["a", "b"])
    assert one.only_link == 1
    assert one.reversed == []


def test_a_bench_that_changes_nothing_reverses_nothing():
    trials = season(log_power=np.array([-3.0, -3.0, -2.8, -3.4, -3.4, -2.8, -3.4, -3.4, -2.8]))
    one, _ = influence_of("3", trials, ["a", "b"])
    assert one.reversed == []
    assert abs(one.largest_shift) < 0.03


def test_large_seasons_are_not_fitted_again_for_each_bench():
    trials = season()
    fit = fit_season(trials)
    assert can_leave_out(trials, fit)
    large = {name: np.tile(column, 2_500) for name, column in trials.items()}
    assert not can_leave_out(large, fit)
