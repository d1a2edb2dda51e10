"""Wind power, equivalent speed, blockage and the uncertainty of wind meters."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import InvalidInput
from analysis.wind import (
    FIVE_POINT_WEIGHTS,
    blockage_factor,
    calibration_uncertainty,
    equivalent_wind_speed,
    grid_weights,
    profile_uncertainty,
    swept_area,
    unevenness,
    wind_power,
)

speeds = st.lists(st.floats(0.5, 20), min_size=1, max_size=20)


@pytest.mark.parametrize(
    ("wind_speed_m_s", "expected_w_m2"),
    [(1, 0.6), (2, 4.9), (3, 16.5), (4, 39.2), (5, 76.6), (6, 132.2), (7, 210.1), (8, 313.6),
     (10, 612.5), (12, 1058.4), (15, 2067.2), (20, 4900.0)],
)  # fmt: skip
def test_wind_power_density_matches_a_printed_table(wind_speed_m_s, expected_w_m2):
    # renewable-energy-concepts.com, table of wind power at 1.225 kg/m³; its 2057.2 at 15 m/s is a
    # misprint and given corrected (check B5)
    assert wind_power(1.225, 1.0, wind_speed_m_s) == pytest.approx(expected_w_m2, abs=0.13)


@pytest.mark.parametrize(
    ("density", "diameter_m", "speed", "expected_w", "rel"),
    [
        # textbook-companion worked example 7.1, hub wind 12 (100/10)^0.14 (check B7)
        pytest.param(1.226, 80, 12 * 10**0.14, 14.0e6, 4e-4, id="80 m at 100 m height"),
        # fluid-mechanics problem, 90 m, weak source, arithmetic verified (check B9)
        pytest.param(1.25, 90, 10, 3976.078202e3, 1e-8, id="90 m"),
        # Cengel & Boles, wind example, printed answers [memory] (check B10)
        pytest.param(1.25, 60, 10, 1770e3, 2e-3, id="60 m"),
        # computed (check B14)
        pytest.param(1.225, 0.944, 10, 428.687, 1e-5, id="0.944 m"),
    ],
)
def test_wind_power_of_a_rotor_matches_worked_examples(density, diameter_m, speed, expected_w, rel):
    power = wind_power(density, swept_area(diameter_m), speed)
    assert power == pytest.approx(expected_w, rel=rel)


def test_swept_area_of_a_model_rotor():
    # computed (check B14)
    assert swept_area(0.944) == pytest.approx(0.699897, abs=1e-6)


@pytest.mark.parametrize(
    ("points", "weights", "expected"),
    [
        # IEC 61400-12-1 rotor equivalent wind speed over circular segments, computed (check C5)
        pytest.param([4.6, 5.0, 5.2], [0.291791, 0.416417, 0.291791], 4.952648, id="segments"),
        # uniform flow (check C7)
        pytest.param([5, 5, 5], [0.291791, 0.416417, 0.291791], 5.0, id="uniform"),
        # equal areas, worked by hand: mean cube 62.76
        pytest.param(
            [3.2, 3.6, 3.9, 4.4, 4.6, 4.5, 4.3, 4.1, 3.7, 3.5, 3.4, 3.9],
            None,
            3.974,
            id="12 points",
        ),
        pytest.param([3.6, 4.1, 4.4, 3.8, 4.2], FIVE_POINT_WEIGHTS, 4.060, id="5 points"),
    ],
)
def test_equivalent_wind_speed(points, weights, expected):
    assert equivalent_wind_speed(points, weights) == pytest.approx(expected, abs=5e-4)


def test_turbulence_raises_the_mean_cube():
    # E[v³]/mean³ = 1 + 3 TI² for symmetric fluctuations; scipy normal moment, computed (check C9)
    fluctuating = [5.0 * (1 + sign * 0.10) for sign in (-1, 1)]
    assert (equivalent_wind_speed(fluctuating) / 5.0) ** 3 == pytest.approx(1.03, abs=1e-12)


@pytest.mark.parametrize(
    "points",
    [pytest.param([], id="none"), pytest.param([4.0, -1.0], id="negative"),
     pytest.param([4.0, math.nan], id="not a number")],
)  # fmt: skip
def test_impossible_winds_are_refused(points):
    with pytest.raises(InvalidInput, match="wind speed"):
        equivalent_wind_speed(points)


def test_weights_must_fit_the_points():
    with pytest.raises(InvalidInput, match="one weight for each"):
        equivalent_wind_speed([4.0, 4.0], [1.0])
    with pytest.raises(InvalidInput, match="some area positive"):
        equivalent_wind_speed([4.0, 4.0], [0.0, 0.0])


@given(speeds)
def test_equivalent_speed_is_between_mean_and_largest(points):
    equivalent = equivalent_wind_speed(points)
    assert np.mean(points) - 1e-9 <= equivalent <= max(points) + 1e-9


@given(speeds, st.floats(0.1, 10))
def test_equivalent_speed_scales_with_its_unit(points, factor):
    scaled = equivalent_wind_speed([factor * point for point in points])
    assert scaled == pytest.approx(factor * equivalent_wind_speed(points), rel=1e-9)


def test_five_points_share_the_rotor_in_any_order():
    weights = grid_weights([0.75, 0, 0, -0.75, 0], [0, 0, 0.75, 0, -0.75])
    assert weights.tolist() == [0.21, 0.16, 0.21, 0.21, 0.21]


def test_other_grids_share_it_equally():
    assert grid_weights([0.4, -0.4], [0, 0]).tolist() == [0.5, 0.5]


def test_unevenness_of_one_point_is_none():
    assert unevenness([4.2]) == 0


@pytest.mark.parametrize(
    ("thrust_coefficient", "area_ratio", "expected"),
    # Glauert's closed-section correction for a turbine [memory], table worked by hand
    [(0.3, 0.05, 1.004), (0.3, 0.20, 1.018), (0.5, 0.10, 1.018), (0.5, 0.20, 1.035),
     (0.7, 0.10, 1.032), (0.7, 0.20, 1.064)],
)  # fmt: skip
def test_blockage(thrust_coefficient, area_ratio, expected):
    assert blockage_factor(area_ratio, thrust_coefficient) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize(
    ("kind", "expected"),
    # rectangular limits at 4 m/s over √3 (JCGM 100 4.3.7), data-sheet classes [memory]
    [("vane", 0.0462), ("hot_wire", 0.0361), ("cup", 0.0664), ("pitot", 0.0295),
     ("spec_sheet", 0.1443), ("", 0.046)],
)  # fmt: skip
def test_wind_meters_at_four_metres_a_second(kind, expected):
    uncertainty = calibration_uncertainty(np.array([kind]), np.array([4.0]), np.array([1.225]))
    assert uncertainty[0] == pytest.approx(expected, abs=5e-4)


def test_more_points_leave_less_doubt():
    uncertainty = profile_uncertainty(np.array([1.0, 4.0, 5.0, 11.0, 12.0, 30.0]))
    assert uncertainty.tolist() == [0.08, 0.08, 0.03, 0.03, 0.015, 0.015]
