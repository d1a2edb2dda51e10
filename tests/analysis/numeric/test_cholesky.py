"""Inverse and determinant from a lower factor, against numpy's own."""

import numpy as np
import pytest

from analysis.numeric.cholesky import inverse_of, log_determinant_of


@pytest.mark.parametrize("size", [1, 2, 7, 40])
def test_both_equal_those_of_the_matrix(size):
    drawn = np.random.default_rng(size).normal(size=(size, size))
    matrix = drawn @ drawn.T + size * np.eye(size)
    lower = np.linalg.cholesky(matrix)
    assert inverse_of(lower) == pytest.approx(np.linalg.inv(matrix), abs=1e-12)
    assert log_determinant_of(lower) == pytest.approx(np.linalg.slogdet(matrix).logabsdet)
