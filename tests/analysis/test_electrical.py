"""Power from readings and series, and the uncertainty of a hand meter."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.electrical import (
    mean_square,
    meter_resolution,
    meter_standard_uncertainty,
    power_from_current,
    power_from_series,
    power_from_voltage,
    resistor_standard_uncertainty,
)
from analysis.errors import InvalidInput

ROOT3 = math.sqrt(3)
volts = st.lists(st.floats(-50, 50), min_size=1, max_size=50)


@pytest.mark.parametrize(
    ("source_v", "source_ohm", "load_ohm", "expected_w"),
    [
        # circuits course, example 3-9, maximum power transfer (check D1)
        pytest.param(5.5, 1.0, 1.0, 7.5625, id="matched"),
        # load sweep around the match, computed (check D2)
        pytest.param(4.2, 15.0, 5.0, 0.2205, id="third"),
        pytest.param(4.2, 15.0, 7.5, 0.261333, id="half"),
        pytest.param(4.2, 15.0, 15.0, 0.294, id="equal"),
        pytest.param(4.2, 15.0, 30.0, 0.261333, id="double"),
        pytest.param(4.2, 15.0, 60.0, 0.18816, id="fourfold"),
    ],
)
def test_volts_and_amperes_across_a_load_give_its_power(source_v, source_ohm, load_ohm, expected_w):
    current = source_v / (source_ohm + load_ohm)
    assert power_from_voltage(current * load_ohm, load_ohm) == pytest.approx(expected_w, abs=1e-6)
    assert power_from_current(current, load_ohm) == pytest.approx(expected_w, abs=1e-6)


def test_reversed_leads_give_the_same_power():
    assert power_from_voltage(-1.2, 30.1) == power_from_voltage(1.2, 30.1)


@pytest.mark.parametrize(
    ("series_v", "load_ohm", "expected_w", "squared_mean_w"),
    [
        # logged voltages, computed (check G6)
        pytest.param([2.8, 3.4, 3.1, 2.2, 3.9, 3.0], 33.0, 0.293232, 0.284983, id="logger"),
        # 50 % duty between 0 and 4 V, closed form (check G7)
        pytest.param([0.0, 4.0], 8.0, 1.0, 0.5, id="on and off"),
        # 3 V with a sine of 0.6 V, closed form (V0² + a²/2)/R (check G5)
        pytest.param(
            (3.0 + 0.6 * np.sin(np.linspace(0, 2 * np.pi, 1000, endpoint=False))).tolist(),
            10.0, 0.918, 0.900, id="ripple",
        ),
    ],
)  # fmt: skip
def test_ripple_counts(series_v, load_ohm, expected_w, squared_mean_w):
    assert power_from_series(series_v, load_ohm) == pytest.approx(expected_w, abs=2e-6)
    assert np.mean(series_v) ** 2 / load_ohm == pytest.approx(squared_mean_w, abs=2e-6)


@given(volts)
def test_mean_square_is_mean_squared_and_variance(series_v):
    expected = np.mean(series_v) ** 2 + np.var(series_v)
    assert mean_square(series_v) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("series_v", [[], [1.0, math.nan], [math.inf]])
def test_series_without_readings_are_refused(series_v):
    with pytest.raises(InvalidInput, match="finite voltage"):
        power_from_series(series_v, 10.0)


@pytest.mark.parametrize(
    ("reading", "percent", "digits", "resolution", "half_width"),
    [
        # published meter specifications worked through: 2.5 % + 3 digits (check D7)
        pytest.param(32.00, 2.5, 3, 0.01, 0.83, id="D7"),
        pytest.param(2.000, 0.08, 2, 0.001, 0.0036, id="D9"),
        pytest.param(2.000, 0.5, 3, 0.001, 0.013, id="D10"),
        pytest.param(100.0, 0.8, 2, 0.1, 1.0, id="D11"),
        pytest.param(79.999, 0.03, 10, 0.001, 0.034, id="D13"),
        pytest.param(6.50, 0.5, 2, 0.01, 0.0525, id="D14"),
    ],
)
def test_meter_limits_are_read_as_rectangular(reading, percent, digits, resolution, half_width):
    # divisor √3: JCGM 100 4.3.7, and GTC type_b.uniform, computed (check D19)
    uncertainty = meter_standard_uncertainty(reading, percent, digits, resolution)
    assert uncertainty * ROOT3 == pytest.approx(half_width, abs=5e-6 * max(1, reading))


@pytest.mark.parametrize(
    ("reading_v", "range_v", "expected_pct"),
    # 0.5 % + 2 digits of a 1999-count meter, worked by hand
    [(0.15, 20.0, 8.0), (0.15, 2.0, 1.1), (0.15, 0.2, 0.37), (0.5, 20.0, 2.6), (0.5, 2.0, 0.52),
     (1.2, 20.0, 1.25), (1.2, 2.0, 0.38), (3.0, 20.0, 0.67), (9.0, 20.0, 0.42)],
)  # fmt: skip
def test_a_coarse_range_costs_the_last_digit(reading_v, range_v, expected_pct):
    resolution = meter_resolution(range_v, 1999)
    uncertainty = meter_standard_uncertainty(reading_v, 0.5, 2, resolution) / reading_v
    assert 100 * uncertainty == pytest.approx(expected_pct, rel=0.04)


def test_a_colour_code_is_known_to_its_tolerance():
    # 5 % over √3 = 2.9 % (JCGM 100 4.3.7)
    assert resistor_standard_uncertainty(1.0, 5.0) == pytest.approx(0.0289, abs=1e-4)
