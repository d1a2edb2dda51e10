"""Propagation of uncertainty against the GUM, another library, and chance."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat, umath

from analysis.errors import InvalidInput
from analysis.uncertainty import combine, interval, welch_satterthwaite

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
