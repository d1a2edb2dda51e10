"""Exponents by theory compared with a machine that is solved numerically."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from analysis.torque_balance import (
    density_exponent_from_wind,
    density_per_wind_exponent,
    exponents_in_theory,
)


@pytest.mark.parametrize(
    ("curve_slope", "wind", "density"),
    [
        pytest.param(0.0, 3.0, 1.0, id="at the top the cube"),
        pytest.param(1.0, 4.0, 2.0, id="overloaded"),
        pytest.param(-1e9, 2.0, 0.0, id="running away: a source of speed"),
    ],
)
def test_without_losses(curve_slope, wind, density):
    # worked by hand: n = 2 + 2/(2 - q), m = n - 2
    body = exponents_in_theory(curve_slope)
    assert body.wind == pytest.approx(wind, abs=1e-6)
    assert body.density == pytest.approx(density, abs=1e-6)


@given(st.floats(-5, 0.9), st.floats(0.5, 1), st.floats(1, 1.4))
def test_more_overload_never_lowers_an_exponent(curve_slope, share, brush):
    one = exponents_in_theory(curve_slope, share, brush)
    more = exponents_in_theory(curve_slope + 0.05, share, brush)
    assert more.wind >= one.wind
    assert more.density > one.density


def test_an_array_gives_an_array():
    assert exponents_in_theory(np.array([0.0, 1.0])).wind.tolist() == [3.0, 4.0]


def test_the_slope_is_that_of_the_formula():
    step = (density_exponent_from_wind(2.7, 1.6) - density_exponent_from_wind(2.6, 1.6)) / 0.1
    assert density_per_wind_exponent(1.6) == pytest.approx(step)


class TestTheory:
    """The exponents of a rotor with a generator and a fixed load, solved number by number."""

    def solved(self, v, density, *, load, emf, winding, drop, friction):
        """Return power in the load where the rotor's torque and the generator's balance."""
        radius, area = 0.225, math.pi * 0.225**2

        def torque_left(speed):
            ratio = speed * radius / v
            coefficient = 0.06 - 0.0135 * ratio  # torque coefficient falling with speed
            drive = 0.5 * density * area * radius * v**2 * coefficient
            current = max(0.0, (emf * speed - drop) / (winding + load))
            return drive - emf * current - friction

        speed = brentq(torque_left, 1e-3, 4.44 * v / radius)
        current = max(0.0, (emf * speed - drop) / (winding + load))
        return current**2 * load, speed

    @pytest.mark.parametrize(
        ("load", "emf", "winding", "drop", "friction"),
        [(9.3, 0.03, 8.0, 0.0, 0.0), (34.0, 0.10, 20.0, 0.0, 0.0), (34.0, 0.10, 20.0, 0.1, 0.002)],
    )
    def test_the_formula_agrees_with_the_solved_machine(self, load, emf, winding, drop, friction):
        """Against small steps of wind and density of a machine solved by root finding."""
        machine = {"load": load, "emf": emf, "winding": winding, "drop": drop, "friction": friction}
        power, speed = self.solved(4.0, 1.2, **machine)
        step = 1e-4
        faster, _ = self.solved(4.0 * (1 + step), 1.2, **machine)
        denser, _ = self.solved(4.0, 1.2 * (1 + step), **machine)
        ratio = speed * 0.225 / 4.0
        q = -0.0135 * ratio / (0.06 - 0.0135 * ratio) + 1
        b = emf * speed / (emf * speed - drop)
        current = math.sqrt(power / load)
        f = emf * current / (emf * current + friction)
        body = exponents_in_theory(q, f, b)
        assert math.log(faster / power) / math.log(1 + step) == pytest.approx(body.wind, rel=1e-3)
        assert math.log(denser / power) / math.log(1 + step) == pytest.approx(
            body.density, rel=1e-3
        )
        assert body.wind == pytest.approx(2 * b + body.density * (2 - f * b))

    def test_density_follows_from_wind_between_its_limits(self):
        assert density_exponent_from_wind(3.0) == pytest.approx(1 / 1.2)
        assert density_exponent_from_wind(1.8) == 0
        assert density_exponent_from_wind(9.0) == 1.5
