"""Power put on the reference, and how far that may be trusted."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exponent import normalisation_status, normalise, textbook_cubic

power = st.floats(1e-3, 1.0)
speed = st.floats(3.0, 5.0)


def test_density_alone_with_exponent_one():
    # stall-regulated power normalised to 1.225 kg/m³, computed (check C1)
    assert normalise(12.5, 4.0, 1.17, wind_exponent=2.6, density_exponent=1.0) == pytest.approx(
        13.087607, abs=1e-6
    )


@pytest.mark.parametrize(
    ("ratio", "exponent_off", "expected_pct"),
    # error of a wrong exponent, |Δn| |ln ratio|, worked by hand
    [(1.05, 0.4, 2.0), (1.10, 0.4, 3.9), (1.10, 0.7, 6.9), (1.25, 0.4, 9.3)],
)
def test_a_wrong_exponent_costs_what_it_should(ratio, exponent_off, expected_pct):
    right = normalise(0.05, 4 / ratio, 1.225, wind_exponent=2.6)
    wrong = normalise(0.05, 4 / ratio, 1.225, wind_exponent=2.6 + exponent_off)
    assert 100 * (wrong / right - 1) == pytest.approx(expected_pct, abs=0.06)


@pytest.mark.parametrize(
    ("case", "true_n", "expected_pct"),
    # default 2.6 against the machine's own exponent at 3.6 m/s: sign and size, worked by hand
    [("speed source", 2.32, 3.0), ("near stall", 5.97, -29.9)],
)
def test_the_default_fits_ordinary_machines_only(case, true_n, expected_pct):
    measured = 0.1 * (3.6 / 4.0) ** true_n
    assert 100 * (normalise(measured, 3.6, 1.225) / 0.1 - 1) == pytest.approx(expected_pct, abs=0.2)


@given(power)
def test_at_the_reference_nothing_changes(power_w):
    assert normalise(power_w, 4.0, 1.225) == pytest.approx(power_w)


@given(power, speed, speed)
def test_going_by_way_of_another_wind_changes_nothing(power_w, one, other):
    direct = normalise(power_w, one, 1.225)
    halfway = normalise(power_w, one, 1.225, reference_wind_speed_m_s=other)
    assert normalise(halfway, other, 1.225) == pytest.approx(direct)


@given(power, speed, st.floats(0.9, 1.3))
def test_the_textbook_figure_keeps_the_power_coefficient(power_w, wind, density):
    cubic = textbook_cubic(power_w, wind, density)
    assert cubic / (1.225 * 4.0**3) == pytest.approx(power_w / (density * wind**3))


@pytest.mark.parametrize(
    ("ratio", "status"),
    [(1.0, "direct"), (4.2 / 4.0, "direct"), (0.95, "direct"), (0.949, "default"),
     (1.10, "default"), (1.101, "provisional"), (0.80, "provisional"), (1.25, "provisional"),
     (0.799, "out_of_range"), (1.251, "out_of_range"), (math.nan, "")],
)  # fmt: skip
def test_bands(ratio, status):
    assert normalisation_status(np.array([ratio])).tolist() == [status]
