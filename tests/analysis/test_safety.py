"""Forces on a spinning rotor compared with worked figures and the laws of mechanics."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants
from scipy.integrate import quad

from analysis import safety

#: Blade mass, balance radius, speed, diameter; force, times its weight, tip speed, energy: computed
#: from F = m ω² r, ωR and ½ m (ω r)² for four blades of a workshop's range, rounded as printed.
WORKED = [
    (0.008, 0.12, 600, 0.45, 3.8, 48, 14, 0.2),
    (0.012, 0.15, 1200, 0.60, 28, 241, 38, 2.1),
    (0.005, 0.07, 2500, 0.30, 24, 489, 39, 0.8),
    (0.025, 0.22, 1500, 0.90, 136, 553, 71, 15),
]


@pytest.mark.parametrize("row", WORKED)
def test_worked_blades(row):
    mass, radius, rpm, diameter, force, weights, tip, energy = row
    actual = safety.blade_force(mass, radius, rpm)
    assert actual == pytest.approx(force, rel=0.02)
    assert actual / (mass * safety.GRAVITY_M_S2) == pytest.approx(weights, abs=0.7)
    assert safety.tip_speed(rpm, diameter) == pytest.approx(tip, abs=0.5)
    assert safety.blade_energy(mass, radius, rpm) == pytest.approx(energy, rel=0.15)


def test_gravity_is_the_standard_one():
    assert constants.g == safety.GRAVITY_M_S2


def test_force_on_a_uniform_rod_is_the_sum_over_its_length():
    """∫ (m/L) ω² r dr from hub to tip is m ω² r at the middle (by scipy's quadrature)."""
    mass, hub, tip, rpm = 0.01, 0.03, 0.25, 900.0
    omega = rpm * math.pi / 30
    total, _ = quad(lambda r: mass / (tip - hub) * omega**2 * r, hub, tip)
    assert safety.blade_force(mass, (hub + tip) / 2, rpm) == pytest.approx(total)


def test_run_away_by_hand():
    # 0.45 m, 6 m/s, five times as fast as the wind: 60·5·6/(π·0.45) = 1273 a minute
    assert safety.runaway_speed(6.0, 0.45, 5.0) == pytest.approx(1273, abs=0.5)
    assert safety.tip_speed(safety.runaway_speed(6.0, 0.45, 5.0), 0.45) == pytest.approx(30.0)


def test_thrust_and_tipping_by_hand():
    # 0.159 m² × ½ · 1.225 · 16 Pa × 0.8 = 1.247 N; at 0.7 m against 0.15 m: 0.89 kg with 1.5
    push = safety.thrust(1.225, 0.45, 4.0)
    assert push == pytest.approx(1.247, abs=0.001)
    least = safety.TIPPING_FACTOR * push * 0.7 / (safety.GRAVITY_M_S2 * 0.15)
    assert least == pytest.approx(0.89, abs=0.005)
    assert safety.tipping_ratio(least, 0.30, push, 0.7) == pytest.approx(1.5)


def test_the_pull_of_a_twelve_gram_blade():
    assert safety.pull_test(0.012, 0.15, 1200) == pytest.approx(57, abs=0.5)


@given(st.floats(1, 5000), st.floats(1.01, 10))
def test_force_grows_with_the_square_of_speed(rpm, times):
    one, other = (safety.blade_force(0.01, 0.1, each) for each in (rpm, rpm * times))
    assert other / one == pytest.approx(times**2)


class TestFigures:
    def figures(self, wind=6.0, blade=safety.Blade(), tower=safety.Tower()):  # noqa: B008  # frozen
        return safety.safety_figures(wind, 1.225, 0.45, blade, tower)

    def test_by_hand(self):
        """6 · 6 m/s at the tip, 1527.9 a minute, ω = 160 rad/s: 0.012 · 160² · 0.12 = 36.9 N."""
        figures = self.figures(blade=safety.Blade(0.012, 0.12), tower=safety.Tower(1.5, 0.4, 0.7))
        assert figures.runaway_tip_speed_m_s == pytest.approx(36.0)
        assert figures.blade_force_n == pytest.approx(36.86, abs=0.01)
        assert figures.blade_weights == pytest.approx(36.86 / (0.012 * 9.80665), rel=1e-3)
        assert figures.pull_test_n == pytest.approx(2 * figures.blade_force_n)
        assert figures.blade_energy_j == pytest.approx(0.5 * 0.012 * (160 * 0.12) ** 2, rel=1e-3)
        # 2.806 N of wind at 0.7 m against 14.71 N at 0.2 m
        assert figures.tipping_ratio == pytest.approx(14.71 * 0.2 / (2.806 * 0.7), rel=1e-3)

    def test_unknown_inputs_give_unknown_figures(self):
        figures = self.figures()
        assert (figures.blade_force_n, figures.pull_test_n, figures.tipping_ratio) == (
            None,
            None,
            None,
        )
        assert figures.balance_radius_m == pytest.approx(0.45 / 4)

    @pytest.mark.parametrize(("wind", "guard"), [(6.6, False), (6.7, True)])
    def test_beyond_40_metres_a_second_it_needs_a_guard(self, wind, guard):
        assert self.figures(wind).needs_guard is guard
