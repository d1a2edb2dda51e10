"""Power coefficient and tip-speed ratio."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from analysis.rotor import BETZ_LIMIT, power_coefficient, tip_speed_ratio
from analysis.wind import swept_area, wind_power

positive = st.floats(0.01, 100)


def test_betz_limit_is_the_optimum_of_momentum_theory():
    # one-dimensional momentum theory, optimum found numerically by scipy (check B1)
    best = minimize_scalar(lambda a: -4 * a * (1 - a) ** 2, bounds=(0, 0.5), method="bounded")
    assert pytest.approx(-best.fun, abs=1e-6) == BETZ_LIMIT


def test_coefficients_of_a_large_turbine():
    # 80 m, 15/min, 12 m/s, 2 MW, 95 % drive, computed (check B11)
    assert tip_speed_ratio(15.0, 80.0, 12.0) == pytest.approx(5.235988, abs=1e-6)
    shaft_w = 2e6 / 0.95
    assert power_coefficient(shaft_w, 1.225, swept_area(80.0), 12.0) == pytest.approx(
        0.395719, abs=1e-6
    )


def test_shaft_power_of_a_model_rotor():
    # 0.944 m rotor at 10 m/s, C_P 0.4695, computed (check B14)
    assert power_coefficient(201.268, 1.225, swept_area(0.944), 10.0) == pytest.approx(
        0.4695, abs=1e-5
    )


@pytest.mark.parametrize(("speed", "coefficient"), [(4, 0.3), (5, 0.4), (6, 0.5)])
def test_a_coefficient_comes_back_from_its_power(speed, coefficient):
    # C_P curve of check B18
    power = coefficient * wind_power(1.3, swept_area(80.0), speed)
    assert power_coefficient(power, 1.3, swept_area(80.0), speed) == pytest.approx(coefficient)


@given(positive, positive, positive)
def test_doubling_the_wind_at_equal_power_divides_the_coefficient_by_eight(power, area, wind):
    slow = power_coefficient(power, 1.2, area, wind)
    assert power_coefficient(power, 1.2, area, 2 * wind) == pytest.approx(slow / 8)
