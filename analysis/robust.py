"""Calculate a mean that outliers do not distort, and scores of a result's deviation from it.

References
----------
.. [1] ISO 13528:2022, "Statistical methods for use in proficiency testing by interlaboratory
   comparison". Algorithm A is C.1 of the edition of 2005, read in a reproduction of its annex C;
   the scores as NIST Dataplot's pages ISO 13528 ZSCORE, ZETA SCORE and EN SCORE give them.
   Clauses of the edition of 2022 not checked.
.. [2] ISO 5725-5:1998, where Algorithm A comes from, as that annex says. Clause not checked.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.errors import InvalidInput, TooFewTrials

MAD_TO_SIGMA = 1.483  # [-], scaled median absolute deviation, ISO 13528
WINSORISED_TO_SIGMA = 1.134  # [-], same
CUT = 1.5  # [-], winsorising limit in robust standard deviations, same
MOST_ROUNDS = 1000
CONVERGED = 1e-12  # [-], relative


@dataclass(frozen=True, slots=True)
class RobustMean:
    """Robust location and scale of values."""

    location: float
    scale: float


def algorithm_a(values: npt.ArrayLike) -> RobustMean:
    """Return the robust mean and standard deviation of Algorithm A, iterated until it converges.

    Parameters
    ----------
    values : array-like, shape (n,)
        Results, at least 3. [any]

    Returns
    -------
    RobustMean
        Location and scale. [as the values]

    Raises
    ------
    TooFewTrials
        With fewer than three values.
    InvalidInput
        With a value that is not finite.

    Notes
    -----
    Breaks down when about 30 % of the values are off. Where more than half are equal the median
    absolute deviation is 0, and so is the scale.

    Examples
    --------
    >>> mean = algorithm_a([0.02, -0.05, 0.11, 0.04, -0.09, 0.41])
    >>> round(mean.location, 4), round(mean.scale, 4)
    (0.0491, 0.1437)
    """
    results = np.asarray(values, dtype=float)
    if results.size < 3:
        raise TooFewTrials(f"a robust mean needs 3 values, got {results.size}")
    if not np.all(np.isfinite(results)):
        raise InvalidInput("a robust mean needs finite values")
    location = float(np.median(results))
    scale = MAD_TO_SIGMA * float(np.median(np.abs(results - location)))
    if scale == 0:
        return RobustMean(location, scale)  # otherwise rounding would start the iteration
    for _ in range(MOST_ROUNDS):
        clipped = np.clip(results, location - CUT * scale, location + CUT * scale)
        before = location, scale
        location, scale = float(clipped.mean()), WINSORISED_TO_SIGMA * float(clipped.std(ddof=1))
        if np.allclose((location, scale), before, rtol=CONVERGED, atol=0):
            break
    return RobustMean(location, scale)


def z_score(value: float, reference: float, sigma_pt: float) -> float:
    """Return the distance of a result from the assigned value, in permitted deviations.

    Parameters
    ----------
    value, reference : float
        Result and assigned value. [any]
    sigma_pt : float
        Standard deviation fit for the purpose, above 0. [same]

    Returns
    -------
    float
        Up to 2 in size is fine, from 3 on asks for action. [-]

    Examples
    --------
    >>> z_score(0.25, 0.05, 0.10)
    2.0
    """
    return (value - reference) / _positive(sigma_pt)


def zeta_score(value: float, reference: float, u_value: float, u_reference: float) -> float:
    """Return the distance of a result from the assigned value, in their combined uncertainty.

    Parameters
    ----------
    value, reference : float
        Result and assigned value. [any]
    u_value, u_reference : float
        Their standard uncertainties. [same]

    Returns
    -------
    float
        Beyond 2 the stated uncertainty does not explain the difference. [-]

    Examples
    --------
    >>> zeta_score(5.0, 0.0, 3.0, 4.0)
    1.0
    """
    return (value - reference) / _positive(math.hypot(u_value, u_reference))


def e_n_score(
    value: float, reference: float, expanded_u_value: float, expanded_u_reference: float
) -> float:
    """Return the zeta score with expanded uncertainties (k = 2): up to 1 in size the two agree.

    Parameters
    ----------
    value, reference : float
        Result and assigned value. [any]
    expanded_u_value, expanded_u_reference : float
        Their expanded uncertainties. [same]

    Returns
    -------
    float
        E_n number. [-]

    Examples
    --------
    >>> round(e_n_score(2.893, 2.99, 0.044, 0.06), 4)
    -1.3037
    """
    return zeta_score(value, reference, expanded_u_value, expanded_u_reference)


def _positive(scale: float) -> float:
    if not scale > 0:
        raise InvalidInput(f"a score needs a spread above 0, got {scale:g}")
    return scale
