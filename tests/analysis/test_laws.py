"""Laws for any number: units, order, reference rotors, and uncertainty that only grows."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.comparison.design import Spread
from analysis.comparison.fit import fit_season
from analysis.comparison.pairs import compare_all, fair_powers
from analysis.errors import AnalysisError
from analysis.exponent import fit_wind_exponent, shrink
from analysis.generator import fit_load_sweep
from analysis.pitch import NoPeak, find_optimum
from analysis.trend import mann_kendall, theil_sen

FACTOR = st.floats(0.01, 100)
SEEDS = st.integers(0, 10_000)


def noisy(seed, values, relative=0.03):
    """Return values with multiplicative noise."""
    rng = np.random.default_rng(seed)
    return np.asarray(values) * np.exp(rng.normal(0, relative, len(values)))


class TestUnits:
    """A quantity in another unit is the same quantity."""

    @given(SEEDS, FACTOR)
    def test_an_exponent_has_none(self, seed, factor):
        wind = np.repeat([3.2, 3.6, 4.2, 4.9], 2)
        power = noisy(seed, 0.04 * (wind / 4) ** 2.6)
        one, other = fit_wind_exponent(wind, power), fit_wind_exponent(wind, factor * power)
        assert other.exponent == pytest.approx(one.exponent, abs=1e-6)
        assert other.standard_error == pytest.approx(one.standard_error, rel=1e-6)

    @given(SEEDS, FACTOR)
    def test_the_best_pitch_does_not_know_milliwatts(self, seed, factor):
        pitch = np.repeat([6.0, 8.5, 11.0, 13.5, 16.0], 2)
        power = noisy(seed, 0.05 * np.exp(-1.6 * np.log(pitch / 11) ** 2))
        try:
            one = find_optimum(pitch, power)
        except NoPeak:
            with pytest.raises(NoPeak):
                find_optimum(pitch, factor * power)
            return
        other = find_optimum(pitch, factor * power)
        assert other.best_pitch_deg == pytest.approx(one.best_pitch_deg, rel=1e-6)
        assert other.plateau_deg == pytest.approx(one.plateau_deg, rel=1e-6)
        assert other.peak_power_w == pytest.approx(factor * one.peak_power_w, rel=1e-6)

    @given(SEEDS, st.floats(0.1, 10))
    def test_a_source_in_kiloohms(self, seed, factor):
        load = np.array([5.0, 10.0, 15.0, 22.0, 33.0, 47.0])
        volts = noisy(seed, 4.2 * load / (load + 15), 0.01)
        one, other = fit_load_sweep(load, volts), fit_load_sweep(factor * load, volts)
        assert other.source_voltage_v == pytest.approx(one.source_voltage_v, rel=1e-6)
        assert other.matched_load_ohm == pytest.approx(factor * one.matched_load_ohm, rel=1e-6)

    @given(SEEDS, st.floats(0.1, 10), st.floats(-5, 5))
    def test_a_slope_over_days_is_a_seventh_of_one_over_weeks(self, seed, factor, shift):
        rng = np.random.default_rng(seed)
        weeks, values = np.arange(8.0), rng.normal(0, 1, 8)
        one, other = theil_sen(weeks, values), theil_sen(factor * weeks + shift, values)
        assert other.slope == pytest.approx(one.slope / factor, rel=1e-9, abs=1e-12)


class TestOrder:
    """Who was written down first is nobody's advantage."""

    @given(SEEDS, st.randoms(use_true_random=False))
    def test_of_readings(self, seed, shuffle):
        pitch = np.repeat([6.0, 8.5, 11.0, 13.5, 16.0], 2)
        power = noisy(seed, 0.05 * np.exp(-1.6 * np.log(pitch / 11) ** 2), 0.01)
        order = list(range(len(pitch)))
        shuffle.shuffle(order)
        one, other = find_optimum(pitch, power), find_optimum(pitch[order], power[order])
        assert other.best_pitch_deg == pytest.approx(one.best_pitch_deg, rel=1e-9)
        wind = 3.0 + pitch / 10
        assert fit_wind_exponent(wind[order], power[order]).exponent == pytest.approx(
            fit_wind_exponent(wind, power).exponent, abs=1e-8
        )

    @given(st.lists(st.integers(0, 5), min_size=2, max_size=12))
    def test_backwards_a_rise_is_a_fall(self, values):
        assert mann_kendall(values[::-1]).s == -mann_kendall(values).s

    @given(st.lists(st.integers(0, 5), min_size=2, max_size=12))
    def test_any_growing_scale_gives_the_same_order(self, values):
        assert mann_kendall(np.exp(values)) == mann_kendall(values)


def season(seed, shift=0.0, u=0.04, bench=None):
    """Return an invented season's trials: six builds, two benches, the rotor at both."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"b{bench}{team}", f"t{bench}{team}", str(bench), f"{bench}/{week}")
        for bench in range(2) for team in range(3) for week in range(2)
    ]  # fmt: skip
    rows += [("ref", "", str(bench), f"{bench}/{week}") for bench in range(2) for week in range(2)]
    build, team, benches, session = zip(*rows, strict=True)
    return {
        "log_power": rng.normal(-3, 0.4, len(rows)) + shift, "u_own": np.full(len(rows), u),
        "build_id": build, "team_id": team, "bench_id": benches, "session_id": session,
    }  # fmt: skip


class TestSeason:
    @settings(max_examples=20, deadline=None)
    @given(SEEDS, st.floats(-2, 2))
    def test_all_powers_twice_as_large_leave_every_fair_power(self, seed, shift):
        """The scale is the rotor's: what multiplies all readings drops out."""
        one, other = (
            fair_powers(fit_season(season(seed, by), spread=Spread()), {"ref": 0.06})
            for by in (0.0, shift)
        )
        for build, fair in one.items():
            # The mean's prior is wide, not flat: 10 against at most 2.
            assert other[build].power_w == pytest.approx(fair.power_w, rel=5e-3)
            # The prior moves residuals a little, and so the weights of outliers: up to 3.3e-4 seen.
            assert other[build].u_total == pytest.approx(fair.u_total, rel=1e-3)

    @settings(max_examples=20, deadline=None)
    @given(SEEDS, st.floats(0.2, 5))
    def test_another_assigned_power_moves_no_pair(self, seed, factor):
        fit = fit_season(season(seed), spread=Spread())
        one, other = (fair_powers(fit, {"ref": 0.06 * by}) for by in (1.0, factor))
        ratio = [other[build].power_w / fair.power_w for build, fair in one.items()]
        assert ratio == pytest.approx([factor] * len(one))

    @settings(max_examples=20, deadline=None)
    @given(SEEDS, st.floats(1.1, 5))
    def test_more_doubt_of_each_trial_is_more_doubt_of_each_pair(self, seed, factor):
        builds = [f"b{bench}{team}" for bench in range(2) for team in range(3)]
        sure, unsure = (
            # All alike, so that no trial is odd and every weight is 1.
            compare_all(fit_season({**season(seed, u=u), "log_power": np.full(16, -3.0)},
                                 spread=Spread()), builds)
            for u in (0.04, 0.04 * factor)
        )  # fmt: skip
        for one, other in zip(sure, unsure, strict=True):
            assert other.u_difference > one.u_difference

    @settings(max_examples=20, deadline=None)
    @given(SEEDS)
    def test_a_pair_turned_round_says_the_same(self, seed):
        fit = fit_season(season(seed), spread=Spread())
        (one,), (other,) = compare_all(fit, ["b00", "b11"]), compare_all(fit, ["b11", "b00"])
        assert one.comparable == other.comparable
        if one.probability_a_ahead is not None:
            assert one.probability_a_ahead == pytest.approx(1 - other.probability_a_ahead)


@given(st.floats(1.6, 5.9), st.floats(0.01, 2), st.floats(0.01, 2))
def test_a_surer_sweep_is_drawn_less(exponent, error, more):
    one, other = shrink(exponent, error), shrink(exponent, error + more)
    assert abs(one.exponent - exponent) <= abs(other.exponent - exponent) + 1e-9
    assert one.standard_error < other.standard_error


BAD = st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.floats(-1, 1))
PLAUSIBLE = st.floats(1e-3, 1e3)
#: Pairs of anything, or of numbers that could be measured, some of them again and again.
READINGS = st.one_of(
    st.lists(st.tuples(BAD, BAD), max_size=12),
    st.lists(st.tuples(PLAUSIBLE, PLAUSIBLE), min_size=3, max_size=12),
    st.lists(st.tuples(st.sampled_from([3.0, 5.0, 8.0, 12.0, 16.0]), PLAUSIBLE), min_size=4),
)


def outcome(function, readings):
    """Return the result of a function for pairs, or the message of its error."""
    try:
        return function([one for one, _ in readings], [other for _, other in readings])
    except AnalysisError as reason:
        return str(reason) or pytest.fail("a refusal without a reason")


class TestAnythingAtAll:
    """Whatever comes: an answer of finite numbers, or words that say why not."""

    @given(READINGS)
    def test_pitch(self, readings):
        result = outcome(find_optimum, readings)
        if not isinstance(result, str):
            assert np.isfinite([result.best_pitch_deg, result.u_deg, *result.plateau_deg]).all()
            pitches = [pitch for pitch, _ in readings]
            assert min(pitches) <= result.best_pitch_deg <= max(pitches)

    @given(READINGS)
    def test_wind(self, readings):
        result = outcome(fit_wind_exponent, readings)
        if not isinstance(result, str) and not result.reason:
            assert 1.5 <= result.exponent <= 6.0
            assert np.isfinite(result.standard_error)

    @given(READINGS)
    def test_load(self, readings):
        result = outcome(fit_load_sweep, readings)
        if not isinstance(result, str):
            assert np.isfinite([result.matched_load_ohm, result.max_power_w]).all()
            assert result.matched_load_ohm > 0

    @given(READINGS)
    def test_trend(self, readings):
        slope = outcome(theil_sen, readings)
        test = outcome(lambda _, values: mann_kendall(values), readings)
        if not isinstance(slope, str):
            assert np.isfinite(slope.slope)
        if not isinstance(test, str):
            assert 0 <= test.p_one_sided <= 1
