"""The generator's constants and the best load, from sweeps with known values."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import InvalidInput, TooFewTrials
from analysis.generator import (
    fit_constant_speed_test,
    fit_load_sweep,
    fit_spin_test,
    mismatch,
    parabola_top,
    rotor_speed_from_voltage,
)

LOADS = np.array([5.0, 10.0, 15.0, 22.0, 33.0, 47.0])


def test_a_source_comes_back_from_its_line():
    # 4.2 V behind 15 Ω, computed (check D3)
    sweep = fit_load_sweep(LOADS, 4.2 * LOADS / (LOADS + 15))
    assert sweep.source_voltage_v == pytest.approx(4.2, abs=1e-9)
    assert sweep.source_resistance_ohm == pytest.approx(15.0, abs=1e-9)
    assert sweep.matched_load_ohm == pytest.approx(15.0, abs=1e-9)
    assert sweep.max_power_w == pytest.approx(0.294, abs=1e-9)
    assert sweep.valid


@given(st.floats(0.5, 20), st.floats(1, 200))
def test_any_source_comes_back(source_v, resistance):
    loads = resistance * np.array([0.3, 0.6, 1.0, 2.0, 5.0])
    sweep = fit_load_sweep(loads, source_v * loads / (loads + resistance))
    assert sweep.source_resistance_ohm == pytest.approx(resistance, rel=1e-6)
    assert sweep.max_power_w == pytest.approx(source_v**2 / (4 * resistance), rel=1e-6)


@pytest.mark.parametrize(
    ("ratio", "expected"), [(1, 1), (1.5, 0.96), (2, 0.889), (3, 0.75), (4, 0.64), (10, 0.331)]
)
def test_a_wrong_load_costs_little_near_the_top(ratio, expected):
    # maximum power transfer, 4x/(1+x)²; check D2 has 0.2613/0.294 at double the load
    assert mismatch(ratio, 1.0) == pytest.approx(expected, abs=5e-4)
    assert mismatch(30.0, 15.0) == pytest.approx(0.261333 / 0.294, abs=1e-5)


def test_near_stall_the_tested_loads_count():
    loads = np.array([4.7, 10.0, 22.0, 47.0, 100.0])
    ln = np.log(loads / 30)
    power = 0.05 * np.exp(-1.2 * ln**2)  # far steeper than any source: the rotor stalls below
    sweep = fit_load_sweep(loads, np.sqrt(power * loads))
    assert not sweep.valid
    assert sweep.reason == "no_line_near_stall"
    # ln P is a parabola of ln R by construction: the local fit finds its top exactly
    assert sweep.matched_load_ohm == pytest.approx(30, rel=1e-6)
    assert sweep.max_power_w == pytest.approx(0.05, rel=1e-6)


def test_spin_and_constant_speed_tests_worked_by_hand():
    spin = fit_spin_test([300, 600, 900, 1200, 1500], [0.93, 1.87, 2.80, 3.76, 4.69])
    assert spin.emf_constant_v_s_rad == pytest.approx(0.02995, abs=5e-6)
    still = fit_constant_speed_test([5.1, 10, 22, 47], [1.38, 1.98, 2.62, 3.10])
    assert still.winding_resistance_ohm == pytest.approx(8.36, abs=0.01)
    drop = spin.emf_constant_v_s_rad * 1200 * math.pi / 30 + spin.offset_v - still.source_voltage_v
    assert drop == pytest.approx(0.115, abs=0.002)


@pytest.mark.parametrize(
    ("loads", "volts", "error"),
    [([5, 10], [1, 2], TooFewTrials), ([5, 10, 0], [1, 2, 3], InvalidInput),
     ([5, 10, 20], [0, 0, 0], InvalidInput), ([5, 10, 20], [1, math.nan, 2], InvalidInput),
     ([5, 10, 20], [1, 2], InvalidInput)],
)  # fmt: skip
def test_what_is_no_sweep_is_refused(loads, volts, error):
    with pytest.raises(error):
        fit_load_sweep(loads, volts)


def test_one_speed_is_no_spin_test():
    with pytest.raises(TooFewTrials):
        fit_spin_test([300, 300], [1, 1])


class TestParabola:
    def test_through_three_points(self):
        # numpy 2.4.6 polyfit, three points of a pitch sweep (check F33)
        at, _ = parabola_top(np.array([10.0, 15.0, 20.0]), np.array([1.83, 1.87, 1.60]))
        assert at == pytest.approx(13.145161, abs=1e-6)

    @pytest.mark.parametrize(
        "y", [[1.0, 2.0, 3.0], [2.0, 1.0, 2.0], [1.0, 2.0, 2.9]],
        ids=["a line", "a valley", "a top beyond"],
    )  # fmt: skip
    def test_no_top_between(self, y):
        assert parabola_top(np.array([0.0, 1.0, 2.0]), np.array(y)) is None


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
