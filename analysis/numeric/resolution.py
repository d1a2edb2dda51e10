"""Round figures to the resolution that their uncertainty supports."""

import math


def step_of(u: float) -> float:
    """Return the rounding step of a figure: 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    u : float
        Standard uncertainty of the figure, positive. [any]

    Returns
    -------
    float
        The largest such step that is no more than a tenth of `u`. [as `u`]

    Notes
    -----
    Rounding to a step adds an error that is spread evenly over one step, whose standard deviation
    is step/√12: at a tenth of `u` that is 0.029 u, which makes the uncertainty 0.04 % larger.

    Examples
    --------
    >>> step_of(1.0), step_of(0.3), step_of(0.07)
    (0.1, 0.02, 0.005)
    """
    tenth = u / 10
    decade = 10.0 ** math.floor(math.log10(tenth))
    factor = next(factor for factor in (10, 5, 2, 1) if factor * decade <= tenth * (1 + 1e-9))
    return float(f"{factor * decade:.6g}")


def at_resolution(value: float, u: float) -> float:
    """Return a figure rounded to a tenth of its standard uncertainty.

    Parameters
    ----------
    value : float
        The figure. [any]
    u : float
        Its standard uncertainty; without a positive one the figure is not rounded. [any]

    Examples
    --------
    >>> at_resolution(0.0694271, 0.0092)
    0.0695
    >>> at_resolution(0.0694271, 0.0)
    0.0694271
    """
    if not (math.isfinite(value) and math.isfinite(u) and u > 0):
        return value
    step = step_of(u)
    return float(f"{round(value / step) * step:.12g}")


def two_digits(u: float) -> float:
    """Return an uncertainty with two significant digits, which are usually enough.

    JCGM 100:2008, 7.2.6, read as a calibration laboratory's support page quotes it.

    Examples
    --------
    >>> two_digits(0.013246), two_digits(0.0)
    (0.013, 0.0)
    """
    return float(f"{u:.2g}") if math.isfinite(u) else u
