"""Least squares compared with certified values."""

from pathlib import Path

import numpy as np
import pytest
from statsmodels.datasets import longley

from analysis.errors import TooFewTrials
from analysis.numeric.least_squares import ordinary_least_squares

NORRIS = Path(__file__).parents[2] / "reference" / "Norris.dat"


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


def test_an_ill_conditioned_regression_keeps_its_digits():
    # NIST StRD Longley, certified values; data of statsmodels 0.15 (check F5)
    data = longley.load_pandas()
    names = ["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]
    design = np.column_stack([np.ones(16), data.exog[names].to_numpy()])
    fit = ordinary_least_squares(design, data.endog.to_numpy())
    certified = {
        0: -3482258.63459582, 1: 15.0618722713733, 2: -0.035819179292591, 6: 1829.15146461355,
    }  # fmt: skip
    for position, value in certified.items():
        assert fit.coefficients[position] == pytest.approx(value, rel=1e-6)
    variance = fit.residuals @ fit.residuals / fit.degrees_of_freedom
    assert variance == pytest.approx(92936.0061673238, rel=1e-6)


@pytest.mark.parametrize(
    "design", [np.ones((2, 2)), np.column_stack([np.ones(5), np.ones(5)]), np.zeros((5, 1))]
)
def test_indistinguishable_columns_are_refused(design):
    with pytest.raises(TooFewTrials):
        ordinary_least_squares(design, np.arange(len(design), dtype=float))
