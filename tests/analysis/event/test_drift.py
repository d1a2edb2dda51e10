"""Correction for a day's drift, by hand and by laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import AnalysisError
from analysis.event.drift import correct_drift


def test_by_hand():
    """Reference 60, 57, 60 mW at 0, 10, 20: ln 57/60 = −0.0513, mean ln off 60 by −0.0171.

    Half-way down, at 5, it has lost 0.02565: 50 mW · e^(0.02565 − 0.0171) = 50.43 mW.
    """
    corrected = correct_drift(
        np.array([5.0, 0.0, 25.0]), np.full(3, 0.05),
        np.array([20.0, 0.0, 10.0]), np.array([0.060, 0.060, 0.057]),
    )  # fmt: skip
    assert corrected.power_w[0] == pytest.approx(0.05043, abs=1e-5)
    assert (
        corrected.power_w[1]
        == corrected.power_w[2]
        == pytest.approx(0.05 * np.exp(-0.0171), rel=1e-4)
    )
    assert corrected.drift == pytest.approx(0.0513, abs=1e-4)
    assert not corrected.needs_decision


@pytest.mark.parametrize(("last", "decide"), [(0.0566, False), (0.0564, True)])
def test_beyond_six_per_cent_officials_decide(last, decide):
    corrected = correct_drift(np.array([1.0]), np.array([0.05]), np.array([0.0, 2.0]),
                           np.array([0.06, last]))  # fmt: skip
    assert corrected.needs_decision is decide


def test_two_rotors_are_held_each_against_itself():
    """Rotors of 60 and 40 mW with constant power: there is no drift, in any order of runs."""
    corrected = correct_drift(
        np.array([2.0]), np.array([0.05]), np.array([0.0, 1.0, 3.0, 4.0]),
        np.array([0.06, 0.04, 0.06, 0.04]), np.array(["a", "b", "a", "b"]),
    )  # fmt: skip
    assert corrected.power_w[0] == pytest.approx(0.05)
    assert corrected.drift == pytest.approx(0.0)


def test_one_reference_run_shows_no_drift():
    with pytest.raises(AnalysisError, match="two runs"):
        correct_drift(np.array([1.0]), np.array([0.05]), np.array([0.0]), np.array([0.06]))


@given(st.floats(0.5, 2.0), st.lists(st.floats(0.01, 0.2), min_size=3, max_size=8))
def test_a_constant_reference_changes_nothing(factor, powers):
    position = np.arange(len(powers), dtype=float)
    corrected = correct_drift(position, np.array(powers), np.array([0.0, 9.0]),
                           np.array([0.06, 0.06]) * factor)  # fmt: skip
    assert corrected.power_w == pytest.approx(powers)


@given(st.floats(-0.05, 0.05))
def test_a_drift_like_the_references_is_corrected(slope):
    """Every rotor loses the same share with time: all runs of one build come out alike."""
    position = np.linspace(0, 10, 9)
    power = 0.05 * np.exp(slope * position)
    at = np.array([0.0, 5.0, 10.0])
    corrected = correct_drift(position, power, at, 0.06 * np.exp(slope * at))
    assert corrected.power_w == pytest.approx(np.full(9, corrected.power_w[0]))
