"""Inverse and determinant of a matrix from its lower Cholesky factor."""

import numpy as np

from analysis.columns import FloatArray


def inverse_of(lower: FloatArray) -> FloatArray:
    """Return the inverse of a matrix with this lower factor.

    >>> inverse_of(np.array([[2.0, 0.0], [1.0, 1.0]])).tolist()
    [[0.5, -0.5], [-0.5, 1.0]]
    """
    from scipy.linalg.lapack import dpotri

    half = np.tril(dpotri(lower, lower=True)[0])
    inverse: FloatArray = half + half.T
    inverse.flat[:: len(inverse) + 1] /= 2
    return inverse


def log_determinant_of(lower: FloatArray) -> float:
    """Return ln of the determinant of a matrix with this lower factor.

    >>> log_determinant_of(np.eye(3))
    0.0
    """
    return 2 * float(np.log(lower.diagonal()).sum())
