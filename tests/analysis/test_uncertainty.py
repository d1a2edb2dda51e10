"""Propagation of uncertainty compared with the GUM, another library and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat, umath

from analysis.errors import InvalidInput
from analysis.numeric.distributions import student_t_quantile
from analysis.uncertainty import (
    combine,
    coverage_factor,
    interval,
    region_uncertainty,
    welch_satterthwaite,
)

small = st.floats(0, 0.5)


@pytest.mark.parametrize(
    ("components", "freedom", "expected", "tolerance"),
    [
        # JCGM 100, G.4.1, product of three inputs [memory] (check E9)
        pytest.param([0.25, 0.57, 0.82], [9, 4, 14], 19.0, 0.05, id="GUM G.4.1"),
        # GTC dof of a weighted sum, computed (check E10)
        pytest.param([0.1, 0.6, 0.6, 0.55], [math.inf, 6, 8, 3], 15.608, 0.002, id="GTC"),
    ],
)
def test_effective_degrees_of_freedom(components, freedom, expected, tolerance):
    assert welch_satterthwaite(components, freedom) == pytest.approx(expected, abs=tolerance)


def test_combined_uncertainty_of_the_gums_product():
    # JCGM 100, G.4.1: 1.03 % [memory] (check E9); GTC: 1.01612, computed (check E10)
    assert combine(0.25, 0.57, 0.82) == pytest.approx(1.03, abs=0.005)
    assert combine(0.1, 0.6, 0.6, 0.55) == pytest.approx(1.01612, abs=1e-5)


def test_product_of_two_meters():
    # P = V I, computed with uncertainties (check D18): 0.273 W, u 0.007322 W
    relative = combine(0.020207 / 3.0, (0.091 * 0.012 + 0.003) / math.sqrt(3) / 0.091)
    assert 0.273 * relative == pytest.approx(0.007322, abs=2e-6)


def test_surely_known_parts_have_no_end_of_freedom():
    assert welch_satterthwaite([0.1], [math.inf]) == math.inf


@pytest.mark.parametrize(("components", "freedom"), [([0.1], [1, 2]), ([0.0], [5]), ([0.1], [0])])
def test_freedom_needs_parts(components, freedom):
    with pytest.raises(InvalidInput):
        welch_satterthwaite(components, freedom)


def test_agrees_with_another_library_on_normalised_power():
    """ln P_N of the worked trial: ratio of wind and density with uncertain exponents."""
    volts, load = ufloat(1.2, 1.2 * 0.004), ufloat(30.1, 30.1 * 0.009)
    wind, density = ufloat(4.2, 4.2 * 0.055), ufloat(1.116, 1.116 * 0.01)
    n, m = ufloat(2.6, 0.4), ufloat(0.5, 0.3)
    theirs = umath.log(volts**2 / load) + n * umath.log(4 / wind) + m * umath.log(1.225 / density)
    ours = combine(
        2 * 0.004, 0.009, 2.6 * 0.055, 0.5 * 0.01,
        math.log(4 / 4.2) * 0.4, math.log(1.225 / 1.116) * 0.3,
    )  # fmt: skip
    assert ours == pytest.approx(theirs.std_dev, rel=1e-9)


def test_interval_holds_95_of_100_draws():
    # coverage of k = 2 for a normal distribution: 95.45 %
    draws = 0.05 * np.exp(np.random.default_rng(4).normal(0, 0.15, 200_000))
    low, high = interval(0.05, 0.15)
    assert np.mean((draws > low) & (draws < high)) == pytest.approx(0.9545, abs=0.003)


@given(small, small, small)
def test_another_part_never_makes_it_surer(one, two, three):
    assert combine(one, two, three) >= combine(one, two)


class TestCoverage:
    # Student's t at 95.45 %, JCGM 100 table G.2 as printed: 13.97, 4.53, 3.31, 2.65, 2.32 [memory]
    @pytest.mark.parametrize(
        ("degrees_of_freedom", "expected"), [(1, 13.97), (2, 4.53), (3, 3.31), (5, 2.65), (9, 2.32)]
    )
    def test_few_runs_of_their_own_widen_an_interval(self, degrees_of_freedom, expected):
        u = np.array([0.05])
        factor = coverage_factor(u, u, np.array([float(degrees_of_freedom)]))
        assert factor[0] == pytest.approx(expected, abs=0.006)

    def test_the_effective_number_is_welchs(self):
        """Where the seen part is 0.05 of 0.0625: ν = 2 · (1.25)⁴ = 4.88, t = 2.67."""
        factor = coverage_factor(np.array([0.0625]), np.array([0.05]), np.array([2.0]))
        effective = welch_satterthwaite([0.05, math.sqrt(0.0625**2 - 0.05**2)], [2, math.inf])
        assert effective == pytest.approx(4.8828, abs=1e-3)
        assert factor[0] == pytest.approx(student_t_quantile(0.97725, effective), abs=1e-3)

    def test_ten_are_enough(self):
        one = np.array([0.05])
        assert coverage_factor(one, one, np.array([10.0]))[0] == 2
        assert coverage_factor(one, 0 * one, np.array([1.0]))[0] == 2


class TestPublishedExamples:
    def test_resistance_from_volts_and_amperes(self):
        # GTC 1.5 README, 0.1 V u 0.001 over 0.015 A u 0.0005: 6.67(23) Ω (check E11)
        assert combine(0.001 / 0.1, 0.0005 / 0.015) * 0.1 / 0.015 == pytest.approx(0.232, abs=1e-3)

    def test_the_falling_ball_viscometer(self):
        """NIST TN 1900 example E3: linear u 1.027, value 5.69; Monte Carlo u 1.11 (check E7)."""
        names = {"mu_c": (4.63, 0.0463), "t_m": (61.0, 6.1), "t_c": (36.6, 5.49)}
        density = {"rho_m": (1180, 0.5), "rho_c": (810, 0.5), "rho_b": (2217, 0.5)}
        (rho_m, u_m), (rho_c, u_c), (rho_b, u_b) = density.values()
        value = 4.63 * 61.0 * (rho_b - rho_m) / (36.6 * (rho_b - rho_c))
        both = u_b * (1 / (rho_b - rho_m) - 1 / (rho_b - rho_c))
        u = value * combine(
            *(uncertainty / middle for middle, uncertainty in names.values()),
            u_m / (rho_b - rho_m), u_c / (rho_b - rho_c), both,
        )  # fmt: skip
        assert value == pytest.approx(5.69, abs=0.005)
        assert u == pytest.approx(1.027, abs=0.001)
        # A noisy divisor: what first order leaves out, by chance.
        rng = np.random.default_rng(2)
        draw = {name: rng.normal(*each, 200_000) for name, each in (names | density).items()}
        drawn = (
            draw["mu_c"] * draw["t_m"] * (draw["rho_b"] - draw["rho_m"])
            / (draw["t_c"] * (draw["rho_b"] - draw["rho_c"]))
        )  # fmt: skip
        assert drawn.std() == pytest.approx(1.11, abs=0.03)


def test_the_regions_part_by_hand():
    """√(0.146² + 0.04²/10 + 0.03²/3) = 0.14757."""
    assert region_uncertainty(0.146) == pytest.approx(0.14757, abs=1e-5)
    assert region_uncertainty(0.146, runs=1, days=1) > region_uncertainty(0.146)


def test_runs_that_are_worlds_apart_leave_a_wide_interval_and_no_overflow():
    low, high = interval(0.04, 400.0)
    assert 0 <= low < 1e-100
    assert 1e100 < high < math.inf
