"""Calculate the quantiles and probabilities that intervals and verdicts need.

Computed by `scipy.special`, which is imported on first use, so that a service
that only receives trials starts without it.
"""

import math

from analysis.errors import InvalidInput


def normal_cdf(x: float) -> float:
    """Return the probability that a standard normal number is below x.

    Parameters
    ----------
    x : float
        Standard deviations from the mean. [-]

    Returns
    -------
    float
        Probability. [-]

    Examples
    --------
    >>> round(normal_cdf(1.959964), 4)
    0.975
    """
    return 0.5 * math.erfc(-x / math.sqrt(2))


def normal_quantile(probability: float) -> float:
    """Return a quantile of the standard normal distribution.

    Parameters
    ----------
    probability : float
        Above 0 and below 1. [-]

    Returns
    -------
    float
        Quantile. [-]

    Examples
    --------
    >>> round(normal_quantile(0.975), 3)
    1.96
    """
    from scipy.special import ndtri

    return float(ndtri(_checked_probability(probability)))


def student_t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Return a quantile of Student's t.

    Parameters
    ----------
    probability : float
        Above 0 and below 1. [-]
    degrees_of_freedom : float
        Above 0; infinite gives the normal quantile. [-]

    Returns
    -------
    float
        Quantile. [-]

    Examples
    --------
    >>> round(student_t_quantile(0.975, 5), 3)
    2.571
    """
    from scipy.special import stdtrit

    if math.isinf(degrees_of_freedom):
        return normal_quantile(probability)
    return float(stdtrit(degrees_of_freedom, _checked_probability(probability)))


def f_exceeds(statistic: float, numerator_df: float, denominator_df: float) -> float:
    """Return the probability that an F-distributed number exceeds a statistic.

    Parameters
    ----------
    statistic : float
        Ratio of two mean squares. [-]
    numerator_df, denominator_df : float
        Degrees of freedom of the two. [-]

    Returns
    -------
    float
        Probability. [-]

    Examples
    --------
    >>> round(f_exceeds(4.96, 1, 10), 3)
    0.05
    """
    from scipy.special import fdtrc

    return float(fdtrc(numerator_df, denominator_df, statistic))


def _checked_probability(probability: float) -> float:
    if not 0 < probability < 1:
        raise InvalidInput(f"a probability lies above 0 and below 1, got {probability:g}")
    return probability
