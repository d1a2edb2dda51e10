"""Values in a wrong unit: factors compared with scipy's, and the unit that is chosen."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from analysis.checks.unit_factors import DIAMETER_SLIPS, WIND_UNITS, find_slip

SPEEDS = st.floats(2, 9)


@pytest.mark.parametrize("value", [4.2, 6.2, 2.9])
def test_a_value_near_the_usual_one_is_no_slip(value):
    """Two standard deviations of 0.20 are e^0.4 = 1.49: 6.26 and 2.82 m/s around 4.2."""
    assert find_slip(value, 4.2, 0.20, WIND_UNITS) is None


@pytest.mark.parametrize("value", [4.2 / 3, 4.2 * 20, 4.2 * 1000])
def test_a_value_in_no_known_unit_is_no_slip(value):
    assert find_slip(value, 4.2, 0.20, WIND_UNITS) is None


@pytest.mark.parametrize(
    ("unit", "metres_a_second"),
    [("mph", constants.mph), ("km/h", constants.kmh), ("knots", constants.knot),
     ("ft/s", constants.foot), ("ft/min", constants.foot / constants.minute)],
)  # fmt: skip
def test_units_of_wind_are_those_of_scipy(unit, metres_a_second):
    assert WIND_UNITS[unit] * metres_a_second == pytest.approx(1, rel=3e-5)


def test_units_of_length_are_those_of_scipy():
    """Inches written where centimetres belong are a hundredth of their number in metres."""
    inches = 1 / constants.inch
    expected = {"inches": inches, "inches_as_centimetres": inches * constants.centi,
                "centimetres": 1 / constants.centi, "millimetres": 1 / constants.milli,
                "radius": 1 / 2, "twice": 2}  # fmt: skip
    assert pytest.approx(expected, rel=3e-5) == DIAMETER_SLIPS


@given(SPEEDS, st.sampled_from(["mph", "km/h", "knots", "ft/s", "ft/min"]))
def test_the_usual_wind_in_another_unit_gives_unit_and_intended_value(usual, unit):
    written = usual * WIND_UNITS[unit]
    slip = find_slip(written, usual, 0.20, WIND_UNITS)
    assert (slip.unit, slip.meant) == (unit, pytest.approx(usual))


@given(st.floats(0.1, 1), st.sampled_from(sorted(DIAMETER_SLIPS)))
def test_a_diameter_in_another_unit_is_named(usual, unit):
    slip = find_slip(usual * DIAMETER_SLIPS[unit], usual, 0.05, DIAMETER_SLIPS)
    assert (slip.unit, slip.meant) == (unit, pytest.approx(usual))


@given(SPEEDS, st.floats(0.01, 1000))
def test_of_all_units_none_brings_a_value_nearer_than_the_named_one(usual, times):
    slip = find_slip(usual * times, usual, 0.20, WIND_UNITS)
    if slip is not None:
        others = [abs(math.log(times / factor)) for factor in WIND_UNITS.values()]
        assert abs(math.log(slip.meant / usual)) == pytest.approx(min(others), abs=1e-12)
        assert abs(math.log(slip.meant / usual)) <= 0.40 + 1e-12
