"""Typical power and its uncertainty compared with complete covariance matrices; pairs."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.numeric.groups import group_by
from analysis.season.estimates import (
    Figure,
    compare,
    places,
    probability_ahead,
    typical_figures,
    uncertainty_of_change,
)
from analysis.trials.results import PowerResults
from tests.support.season_trials import only_team

U_SESSION = 0.03  # [-], of one session of ln P


def test_scatter_averages_and_the_benchs_doubt_does_not():
    """n trials of N runs in k even sessions: s²/(nN) + u_sess²/k; the bench's part stays."""
    one = only_team({"volts": 0.2, "runs": 3}).current
    four = only_team(
        *({"volts": 0.2, "runs": 3, "session_id": f"s{i // 2}"} for i in range(4))
    ).current
    assert one.u_own == pytest.approx(math.sqrt(0.04**2 / 3 + 0.03**2), abs=1e-4)
    assert four.u_own == pytest.approx(math.sqrt(0.04**2 / 12 + 0.03**2 / 2), abs=1e-4)
    assert four.u_bench == pytest.approx(one.u_bench)


def test_trials_that_lie_too_far_apart_are_doubted_by_how_far():
    """Birge: expected sd of one trial √(0.04² + 0.03²) = 0.05; seen ln(0.3²/0.2²)/√2 = 0.573."""
    apart = only_team({"volts": 0.2}, {"volts": 0.3}).current
    ratio = math.log(0.3**2 / 0.2**2) / math.sqrt(2) / 0.05
    expected = ratio * math.sqrt(0.04**2 / 2 + 0.03**2)
    assert apart.u_own == pytest.approx(expected, rel=1e-4)
    low, high = apart.interval_w
    assert low < 0.04
    assert high > 0.09


def test_two_benches_share_their_doubts():
    here = only_team({"volts": 0.2}).current
    both = only_team({"volts": 0.2}, {"volts": 0.2, "bench_id": "y", "session_id": "s2"}).current
    assert both.bench_id is None
    assert both.u_bench == pytest.approx(here.u_bench / math.sqrt(2))


def test_an_exponents_doubt_is_shared_by_the_trials_of_a_build():
    facts = {"wind_speed_start_m_s": 4.4}
    one = only_team({"volts": 0.2, "facts": facts}).current
    many = only_team(
        *({"volts": 0.2, "facts": facts, "session_id": f"s{i}"} for i in range(16))
    ).current
    floor = math.log(4.4 / 4.0) * 0.4
    assert many.u_own > floor
    assert one.u_own**2 - many.u_own**2 == pytest.approx((0.04**2 + 0.03**2) * 15 / 16, rel=1e-3)


def test_a_change_at_one_bench_is_surer_than_across_two():
    one = only_team({"volts": 0.2}).current
    at_home, away = (
        only_team({"volts": 0.23}).current,
        only_team({"volts": 0.23, "bench_id": "y"}).current,
    )
    assert compare(at_home, one).interval_pct[0] > 0 > compare(away, one).interval_pct[0]


def drawn(seed, scatter):
    """Return trials of builds in sessions at benches, the results of them, and which count."""
    draw, count = np.random.default_rng(seed), 30
    session = draw.integers(0, 8, count)
    trials = pd.DataFrame({
        "build_id": np.char.mod("b%d", draw.integers(0, 6, count)),
        "session_id": np.char.mod("s%d", session), "bench_id": np.char.mod("k%d", session // 3),
    })  # fmt: skip
    ln_power = -3 + draw.normal(0, scatter, count)
    ranges = {
        "u_repeat": (0.02, 0.08), "exponent_lever": (-0.1, 0.1), "u_wind_exponent": (0.1, 0.4),
        "ln_density_ratio": (-0.1, 0.1), "u_density_exponent": (0.1, 0.3),
        "normalised_power_cubic_w": (0.01, 0.1),
    }  # fmt: skip
    numbers = {name: draw.uniform(*between, count) for name, between in ranges.items()}
    unused = {name: np.full(count, math.nan) for name in PowerResults.__dataclass_fields__}
    results = PowerResults(**unused | numbers | {
        "normalised_power_w": np.exp(ln_power), "u_bench": np.full(count, 0.14),
    })  # fmt: skip
    return trials, results, draw.random(count) < 0.9


def figures_of(trials, results, counted):
    by = group_by(trials["build_id"].to_numpy()[counted])
    return typical_figures(by, places(counted, trials), results)


def variance_of_mean(covariance):
    return covariance.sum() / len(covariance) ** 2


def same(labels):
    return np.equal.outer(labels.to_numpy(), labels.to_numpy()).astype(float)


class TestTypical:
    """The mean of ln P of trials that vary together, its variance by the sum of their covariances.

    Runs scatter independently; sessions, benches and an exponent's error affect all their trials.
    """

    @settings(max_examples=30)
    @given(st.integers(0, 10_000), st.sampled_from([0.001, 0.05, 0.5]))
    def test_uncertainties_are_those_of_a_complete_covariance_matrix(self, seed, scatter):
        trials, results, counted = drawn(seed, scatter)
        figures = figures_of(trials, results, counted)
        for figure in figures:
            rows = np.flatnonzero(counted & (trials["build_id"] == figure.label))
            mine, ln_power = trials.iloc[rows], np.log(results.normalised_power_w[rows])
            run_variance = results.u_repeat[rows] ** 2
            # Birge: where trials lie further apart than they should, so does all that scatters.
            spare = len(rows) - 1
            chi_square = np.sum((ln_power - ln_power.mean()) ** 2 / (run_variance + U_SESSION**2))
            birge = max(1.0, chi_square / spare) if spare else 1.0
            scattered = birge * (np.diag(run_variance) + U_SESSION**2 * same(mine["session_id"]))
            wind = (results.exponent_lever * results.u_wind_exponent)[rows]
            air = (results.ln_density_ratio * results.u_density_exponent)[rows]
            own = variance_of_mean(scattered + np.outer(wind, wind) + np.outer(air, air))
            bench = variance_of_mean(0.14**2 * same(mine["bench_id"]))
            assert figure.u_own == pytest.approx(math.sqrt(own), rel=1e-9)
            assert figure.u_bench == pytest.approx(math.sqrt(bench), rel=1e-9)
            assert figure.u_total == pytest.approx(math.sqrt(own + bench), rel=1e-9)

            reach = 2.0  # or Student's at the same probability, by Welch and Satterthwaite
            effective = spare * ((own + bench) / variance_of_mean(scattered)) ** 2
            if birge > 1 and effective < 10:
                reach = stats.t.ppf(stats.norm.cdf(2), effective)
            low, high = figure.interval_w
            power = stats.gmean(results.normalised_power_w[rows])
            assert low == pytest.approx(power * math.exp(-reach * figure.u_total), rel=1e-6)
            assert high == pytest.approx(power * math.exp(reach * figure.u_total), rel=1e-6)

    @settings(max_examples=30)
    @given(st.integers(0, 10_000))
    def test_powers_and_counts_are_those_of_scipy_and_pandas(self, seed):
        trials, results, counted = drawn(seed, 0.2)
        columns = {"power": results.normalised_power_w, "cubic": results.normalised_power_cubic_w}
        theirs = trials.assign(**columns)[counted].groupby("build_id").agg(
            power=("power", stats.gmean), cubic=("cubic", stats.gmean), trials=("power", "size"),
            sessions=("session_id", "nunique"), benches=("bench_id", "unique"),
        )  # fmt: skip
        figures = list(figures_of(trials, results, counted))
        assert [figure.label for figure in figures] == theirs.index.tolist()
        for figure, row in zip(figures, theirs.itertuples(), strict=True):
            assert figure.normalised_power_w == pytest.approx(row.power)
            assert figure.normalised_power_cubic_w == pytest.approx(row.cubic)
            assert (figure.trials, figure.sessions) == (row.trials, row.sessions)
            assert figure.bench_id == (row.benches[0] if len(row.benches) == 1 else None)

    def test_without_counted_trials_there_is_no_figure(self):
        trials, results, counted = drawn(0, 0.1)
        assert len(figures_of(trials, results, np.zeros_like(counted))) == 0

    @settings(max_examples=30)
    @given(st.integers(0, 10_000))
    def test_places_are_the_sessions_and_benches_of_counted_trials(self, seed):
        trials, _, counted = drawn(seed, 0.1)
        where, mine = places(counted, trials), trials[counted]
        for groups, name in ((where.sessions, "session_id"), (where.benches, "bench_id")):
            codes, labels = pd.factorize(mine[name], sort=True)
            assert groups.labels.tolist() == labels.tolist()
            assert groups.codes.tolist() == codes.tolist()


def figure(ln_power, u_own=0.03, u_bench=0.14, bench_id="bench"):
    power, total = math.exp(ln_power), math.hypot(u_own, u_bench)
    return Figure("", power, power, u_own, u_bench, total, (0.0, 1.0), 1, 1, bench_id)


LN_POWERS, UNCERTAINTIES = st.floats(-5, -1), st.floats(0.01, 0.3)


class TestTwoFigures:
    @given(LN_POWERS, LN_POWERS, UNCERTAINTIES, UNCERTAINTIES)
    def test_how_probably_one_is_ahead_is_that_of_scipys_difference(self, one, other, u, v):
        """P(X > Y) for normal X and Y; the bench's uncertainty is in both and drops out."""
        probability = probability_ahead(figure(one, u), figure(other, v))
        theirs = stats.norm.sf(0, loc=one - other, scale=math.sqrt(u**2 + v**2))
        assert probability == pytest.approx(theirs, rel=1e-6, abs=1e-12)

    @given(LN_POWERS, LN_POWERS, UNCERTAINTIES, UNCERTAINTIES)
    def test_one_of_the_two_is_ahead(self, one, other, u, v):
        a, b = figure(one, u), figure(other, v)
        assert probability_ahead(a, b) + probability_ahead(b, a) == pytest.approx(1)

    @pytest.mark.parametrize(
        ("benches", "variance"),
        # 0.03² + 0.04², and at another bench 0.14² + 0.10² in addition
        [(("x", "x"), 0.0025), (("x", "y"), 0.0321), (("x", None), 0.0321),
         ((None, None), 0.0321)],
    )  # fmt: skip
    def test_a_benchs_uncertainty_cancels_only_in_a_change_at_one_bench(self, benches, variance):
        later, earlier = (figure(-3, u, v, bench) for u, v, bench in
                          zip((0.03, 0.04), (0.14, 0.10), benches, strict=True))  # fmt: skip
        assert uncertainty_of_change(later, earlier) == pytest.approx(math.sqrt(variance))

    def test_a_change_by_hand(self):
        """20 % more, ± 2 · 0.05 in ln power: 0.0823 and 0.2823, or 8.6 % and 32.6 %."""
        change = compare(figure(math.log(0.06), 0.03), figure(math.log(0.05), 0.04))
        assert change.change_pct == pytest.approx(20)
        assert change.interval_pct == pytest.approx((8.58, 32.62), abs=0.01)
