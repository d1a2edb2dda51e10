"""Figures rounded to a tenth of their uncertainty."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.numeric.resolution import at_resolution, step_of, two_digits

UNCERTAINTIES = st.floats(1e-9, 1e9)


@given(UNCERTAINTIES)
def test_a_step_is_one_two_or_five_of_a_decade_and_no_more_than_a_tenth(u):
    step = step_of(u)
    digits = round(step / 10.0 ** math.floor(math.log10(step) + 1e-9), 6)
    assert digits in (1, 2, 5)
    assert step <= u / 10 * (1 + 1e-6) < 2.5 * step * (1 + 1e-6)


@given(st.floats(-1e6, 1e6), UNCERTAINTIES)
def test_rounding_moves_a_figure_by_no_more_than_a_twentieth_of_its_doubt(value, u):
    moved = abs(at_resolution(value, u) - value)
    assert moved <= u / 20 * (1 + 1e-6) + 1e-9 * abs(value)


@given(st.floats(1e-6, 1e6), UNCERTAINTIES)
def test_a_rounded_value_is_not_changed(value, u):
    once = at_resolution(value, u)
    assert at_resolution(once, u) == pytest.approx(once, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("u", [0.0, math.nan, math.inf, -1.0])
def test_without_a_known_doubt_it_stays(u):
    assert at_resolution(0.123456789, u) == 0.123456789


def test_the_guides_own_example():
    """JCGM 100:2008, 7.2.6: with u_c(y) = 27 mΩ, y = 10.057 62 Ω is given as 10.058 Ω.

    The Guide rounds to the last digit of u; a tenth of u is 2 mΩ here, and agrees within it.
    """
    assert at_resolution(10.05762, 0.027) == pytest.approx(10.058, abs=0.001)
    assert two_digits(0.0271) == 0.027
