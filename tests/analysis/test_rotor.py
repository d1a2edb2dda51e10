"""Power coefficient, tip-speed ratio, and rotor speed from volts."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from analysis.generator import rotor_speed_from_voltage
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


def test_an_ideal_generator_turns_at_its_speed_constant():
    # Kv 5700 (1/min)/V at 11.1 V: 63 270 1/min, maker's rule (check D6); k = 60/(2π Kv) (check D5)
    speed = rotor_speed_from_voltage(
        11.1, 1e9, 60 / (2 * 3.141592653589793 * 5700), 0.0, brush_drop_v=0.0
    )
    assert speed == pytest.approx(63_270, rel=1e-6)


def test_a_loaded_generator_turns_faster_than_its_volts_tell():
    # driven at 1200 1/min: k = 0.02995 V·s/rad gives 3.764 V; less 0.115 V at the brushes and what
    # 8.36 Ω lose into 22 Ω, worked by hand
    volts = (0.02995 * 1200 * 3.141592653589793 / 30 - 0.115) * 22 / (22 + 8.36)
    speed = rotor_speed_from_voltage(volts, 22.0, 0.02995, 8.36, brush_drop_v=0.115)
    assert speed == pytest.approx(1200, rel=1e-9)


def test_a_gear_slows_the_rotor_down():
    direct = rotor_speed_from_voltage(1.2, 30.0, 0.03, 8.0)
    assert rotor_speed_from_voltage(1.2, 30.0, 0.03, 8.0, gear_ratio=4.0) == pytest.approx(
        direct / 4
    )
