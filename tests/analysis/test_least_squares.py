"""Least squares against certified values."""

from pathlib import Path

import numpy as np
import pytest

from analysis.errors import TooFewTrials
from analysis.least_squares import ordinary_least_squares

NORRIS = Path(__file__).parents[1] / "reference" / "Norris.dat"


def test_a_line_to_the_certified_digits():
    # NIST StRD Norris, certified values (check F1)
    y, x = np.loadtxt(NORRIS, skiprows=60).T
    fit = ordinary_least_squares(np.column_stack([np.ones_like(x), x]), y)
    assert fit.coefficients.tolist() == pytest.approx(
        [-0.262323073774029, 1.00211681802045], rel=1e-9
    )
    assert fit.standard_error(0) == pytest.approx(0.232818234301152, rel=1e-9)
    assert fit.standard_error(1) == pytest.approx(0.429796848199937e-3, rel=1e-9)
    spread = np.sqrt(fit.residuals @ fit.residuals / fit.degrees_of_freedom)
    assert spread == pytest.approx(0.884796396144373, rel=1e-9)


def test_an_exact_polynomial_of_fifth_degree():
    # NIST StRD Wampler1, certified: every coefficient 1 (check F6)
    x = np.arange(21.0)
    design = np.vander(x, 6, increasing=True)
    fit = ordinary_least_squares(design, design.sum(axis=1))
    assert fit.coefficients.tolist() == pytest.approx([1] * 6, abs=1e-5)


@pytest.mark.parametrize(
    "design", [np.ones((2, 2)), np.column_stack([np.ones(5), np.ones(5)]), np.zeros((5, 1))]
)
def test_what_cannot_be_told_apart_is_refused(design):
    with pytest.raises(TooFewTrials):
        ordinary_least_squares(design, np.arange(len(design), dtype=float))
