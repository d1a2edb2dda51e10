"""Ordinary least squares with the covariance of its coefficients."""

from dataclasses import dataclass

import numpy as np

from analysis.columns import FloatArray
from analysis.errors import TooFewTrials
from analysis.reasons import reason


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients of a linear model, their covariance, and the residuals."""

    coefficients: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    degrees_of_freedom: int

    def standard_error(self, position: int) -> float:
        """Return the standard error of a coefficient."""
        return float(np.sqrt(self.covariance[position, position]))


def ordinary_least_squares(design: FloatArray, values: FloatArray) -> Fit:
    """Return the least-squares fit of values by the columns of a design.

    Parameters
    ----------
    design : array, shape (n, k)
        One column per coefficient.
    values : array, shape (n,)
        Values to fit.

    Returns
    -------
    Fit
        Coefficients, covariance with the residual variance, residuals, n - k.

    Raises
    ------
    TooFewTrials
        If the columns are linearly dependent, or no degree of freedom is left.

    Notes
    -----
    By the singular value decomposition, so that an ill-conditioned design keeps its precision.

    Examples
    --------
    >>> x = np.array([1.0, 2.0, 3.0, 4.0])
    >>> fit = ordinary_least_squares(np.column_stack([np.ones(4), x]), 2 * x + 1)
    >>> fit.coefficients.round(6).tolist()
    [1.0, 2.0]
    """
    scale = np.linalg.norm(design, axis=0)
    freedom = design.shape[0] - design.shape[1]
    if freedom < 1 or not np.all(scale > 0):
        raise TooFewTrials(reason("too_few_readings", figures=design.shape[1]))
    u, singular, vt = np.linalg.svd(design / scale, full_matrices=False)
    if singular[-1] < 1e-12 * singular[0]:
        raise TooFewTrials(reason("settings_alike"))
    coefficients = (vt.T @ ((u.T @ values) / singular)) / scale
    residuals = values - design @ coefficients
    variance = float(residuals @ residuals) / freedom
    inverse = (vt.T / singular**2) @ vt / np.outer(scale, scale)
    return Fit(coefficients, variance * inverse, residuals, freedom)
