"""Normalised power, and its limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from analysis.errors import InvalidInput, TooFewTrials
from analysis.exponent import (
    fit_wind_exponent,
    normalisation_status,
    normalise,
    shrink,
    textbook_cubic,
)

power = st.floats(1e-3, 1.0)
speed = st.floats(3.0, 5.0)


def test_only_density_with_exponent_one():
    # stall-regulated power normalised to 1.225 kg/m³, computed (check C1)
    assert normalise(12.5, 4.0, 1.17, wind_exponent=2.6, density_exponent=1.0) == pytest.approx(
        13.087607, abs=1e-6
    )


@pytest.mark.parametrize(
    ("ratio", "exponent_off", "expected_pct"),
    # error of a wrong exponent, |Δn| |ln ratio|, worked by hand
    [(1.05, 0.4, 2.0), (1.10, 0.4, 3.9), (1.10, 0.7, 6.9), (1.25, 0.4, 9.3)],
)
def test_the_cost_of_a_wrong_exponent(ratio, exponent_off, expected_pct):
    right = normalise(0.05, 4 / ratio, 1.225, wind_exponent=2.6)
    wrong = normalise(0.05, 4 / ratio, 1.225, wind_exponent=2.6 + exponent_off)
    assert 100 * (wrong / right - 1) == pytest.approx(expected_pct, abs=0.06)


@pytest.mark.parametrize(
    ("case", "true_n", "expected_pct"),
    # default 2.6 against the machine's own exponent at 3.6 m/s: sign and size, worked by hand
    [("speed source", 2.32, 3.0), ("near stall", 5.97, -29.9)],
)
def test_the_default_fits_ordinary_machines_only(case, true_n, expected_pct):
    measured = 0.1 * (3.6 / 4.0) ** true_n
    assert 100 * (normalise(measured, 3.6, 1.225) / 0.1 - 1) == pytest.approx(expected_pct, abs=0.2)


@given(power)
def test_at_the_reference_nothing_changes(power_w):
    assert normalise(power_w, 4.0, 1.225) == pytest.approx(power_w)


@given(power, speed, speed)
def test_going_by_way_of_another_wind_changes_nothing(power_w, one, other):
    direct = normalise(power_w, one, 1.225)
    halfway = normalise(power_w, one, 1.225, reference_wind_speed_m_s=other)
    assert normalise(halfway, other, 1.225) == pytest.approx(direct)


@given(power, speed, st.floats(0.9, 1.3))
def test_the_textbook_figure_keeps_the_power_coefficient(power_w, wind, density):
    cubic = textbook_cubic(power_w, wind, density)
    assert cubic / (1.225 * 4.0**3) == pytest.approx(power_w / (density * wind**3))


@pytest.mark.parametrize(
    ("ratio", "status"),
    [(1.0, "direct"), (4.2 / 4.0, "direct"), (0.95, "direct"), (0.949, "default"),
     (1.10, "default"), (1.101, "provisional"), (0.80, "provisional"), (1.25, "provisional"),
     (0.799, "out_of_range"), (1.251, "out_of_range"), (math.nan, "")],
)  # fmt: skip
def test_bands(ratio, status):
    assert normalisation_status(np.array([ratio])).tolist() == [status]


class TestOwnExponent:
    @given(st.floats(1.6, 5.5), st.floats(0.01, 1))
    def test_an_exact_power_law_is_found(self, exponent, power_w):
        speeds = np.array([3.0, 3.5, 4.0, 4.5, 5.0])
        fit = fit_wind_exponent(speeds, power_w * (speeds / 4) ** exponent)
        assert fit.exponent == pytest.approx(exponent, rel=1e-9)
        assert fit.is_power_law
        assert fit.reason == ""

    def test_agrees_with_another_regression(self):
        draw = np.random.default_rng(2)
        speeds = np.repeat([3.0, 4.0, 5.0], 2)
        power = 0.05 * (speeds / 4) ** 2.4 * np.exp(draw.normal(0, 0.04, 6))
        theirs = linregress(np.log(speeds), np.log(power))
        fit = fit_wind_exponent(speeds, power)
        assert fit.exponent == pytest.approx(theirs.slope)
        assert fit.standard_error == pytest.approx(theirs.stderr)

    @pytest.mark.parametrize(
        ("speeds", "expected"),
        # scatter of the exponent with 4 % on power and 1 % on speed: simulation, worked again here
        [([3, 4, 5], 0.13), ([3, 4, 5] * 2, 0.09), ([3.5, 4, 4.5] * 2, 0.19)],
    )
    def test_scatter_of_the_exponent(self, speeds, expected):
        draw = np.random.default_rng(7)
        true = np.array(speeds, dtype=float)
        exponents = []
        for _ in range(2000):
            power = 0.05 * (true / 4) ** 2.6 * np.exp(draw.normal(0, 0.04, true.size))
            read = true * np.exp(draw.normal(0, 0.01, true.size))
            exponents.append(np.polyfit(np.log(read), np.log(power), 1)[0])
        fitted = fit_wind_exponent(true, 0.05 * (true / 4) ** 2.6).exponent
        assert fitted == pytest.approx(2.6)
        assert np.std(exponents) == pytest.approx(expected, abs=0.015)

    def test_a_curve_that_bends_is_no_power_law(self):
        draw = np.random.default_rng(3)
        speeds = np.repeat([3.0, 3.5, 4.0, 4.5, 5.0], 3)
        ln = np.log(speeds / 4)
        power = np.exp(-3 + 2.6 * ln + 4 * ln**2 + draw.normal(0, 0.01, 15))
        fit = fit_wind_exponent(speeds, power)
        assert not fit.is_power_law
        assert fit.exponent == pytest.approx(2.6, abs=0.1)  # the slope at 4 m/s, by construction

    @pytest.mark.parametrize(
        ("speeds", "powers", "why"),
        [
            ([3.8, 4.0, 4.2], [1, 1.1, 1.2], "winds_too_alike;ratio=1.3"),
            # slope of ln P over ln v by numpy polyfit: 8.96744
            ([3, 4, 5], [1, 10, 100], "implausible_exponent;exponent=8.96744"),
            ([5, 6, 7], [1, 1.6, 2.4], "reference_wind_not_reached"),
        ],
    )
    def test_an_unusable_exponent_has_a_reason(self, speeds, powers, why):
        assert fit_wind_exponent(speeds, powers).reason == why

    @pytest.mark.parametrize(
        ("speeds", "powers", "error"),
        [([4, 5], [1, 2], TooFewTrials), ([3, 4, 0], [1, 2, 3], InvalidInput),
         ([3, 4, 5], [1, 2, -1], InvalidInput), ([3, 4, math.inf], [1, 2, 3], InvalidInput),
         ([3, 4, 5], [1, 2], InvalidInput)],
    )  # fmt: skip
    def test_what_is_no_sweep_is_refused(self, speeds, powers, error):
        with pytest.raises(error):
            fit_wind_exponent(speeds, powers)

    def test_shrinking_is_the_mean_of_two_uncertain_values(self):
        # inverse-variance weights worked by hand: own 0.09² + 0.14² = 0.0277, prior 0.16
        joined = shrink(2.2, 0.09)
        weight = (1 / 0.0277) / (1 / 0.0277 + 1 / 0.16)
        assert joined.exponent == pytest.approx(weight * 2.2 + (1 - weight) * 2.6)
        assert joined.standard_error == pytest.approx((1 / 0.0277 + 1 / 0.16) ** -0.5)

    @given(st.floats(1.5, 6), st.floats(0.01, 5))
    def test_shrinking_never_leaves_the_two(self, exponent, error):
        joined = shrink(exponent, error)
        assert min(exponent, 2.6) - 1e-9 <= joined.exponent <= max(exponent, 2.6) + 1e-9
        assert joined.standard_error < 0.4
