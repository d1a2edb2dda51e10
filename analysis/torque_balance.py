"""Derive the exponents of power at a fixed load, which are not the textbook's 3 and 1.

In the steady state the torque of the wind equals that of the generator and of friction:

    ½ ρ A R v² C_Q(λ) = k I + T_f,    I = (k ω - V_b) / (R_i + R_L),    P = I² R_L

Differentiating its logarithm gives both exponents from three numbers:
q = d ln C_P / d ln λ, at the rotor's point on its curve (0 at the top, below 0 where it runs fast
and under-loaded, above 0 on the way to stall); f, the generator's share of the shaft's torque; and
b = E/(E - V_b), the effect of the brush drop. With g = d ln ω / d ln v:

    torque   2 + (q - 1)(g - 1) = f b g,    current   d ln I / d ln v = b g,    so    n = 2 b g

Derived here; no coefficient is fitted.
"""

from dataclasses import dataclass
from typing import Any, Generic

import numpy as np

from analysis.columns import Numeric


@dataclass(frozen=True, slots=True)
class TheoryExponents(Generic[Numeric]):
    """Exponents of wind speed and air density at a fixed load, by the balance of torques."""

    wind: Numeric
    density: Numeric


def exponents_in_theory(
    curve_slope: Numeric,
    generator_share: Numeric | float = 1.0,
    brush: Numeric | float = 1.0,
) -> TheoryExponents[Numeric]:
    """Return wind and density exponent of a rotor whose point on its power curve is known.

    Parameters
    ----------
    curve_slope : float or array-like, shape (n,)
        q = d ln C_P / d ln λ at the working point, below f b + 1. [-]
    generator_share : float or array-like, shape (n,), optional
        f: share of the shaft's torque that the generator takes; 1 without friction. [-]
    brush : float or array-like, shape (n,), optional
        b = E/(E - V_b); 1 without a drop at the brushes. [-]

    Returns
    -------
    TheoryExponents
        n = 2b(3 - q)/(f b + 1 - q) and m = 2b/(f b + 1 - q). [-]

    Notes
    -----
    At the top of the curve without losses n = 3, m = 1: the textbook's cube. A rotor that runs
    away has n = 2, m = 0; on the way to stall both grow without limit.

    Examples
    --------
    >>> top = exponents_in_theory(0.0)
    >>> top.wind, top.density
    (3.0, 1.0)
    >>> round(exponents_in_theory(0.0, generator_share=0.7, brush=1.05).wind, 2)
    3.63
    """
    density: Numeric = 2 * brush / (generator_share * brush + 1 - curve_slope)
    wind: Numeric = (3 - curve_slope) * density
    return TheoryExponents(wind, density)


ROTOR_SHARE = 0.8  # [-], f: electrical share of the shaft's torque, the rest friction; typical
DENSITY_EXPONENTS = (0.0, 1.5)  # [-], limits of a density exponent


def density_exponent_from_wind(
    wind_exponent: Numeric, emf_v: Numeric | None = None, brush_drop_v: Numeric | float = 0.1
) -> Numeric:
    """Return the density exponent that belongs to a wind exponent.

    Parameters
    ----------
    wind_exponent : float or array-like, shape (n,)
        Wind exponent of the build at its load. [-]
    emf_v : float or array-like, shape (n,), optional
        Voltage behind the terminals; without it the brush drop is neglected. [V]
    brush_drop_v : float or array-like, shape (n,), optional
        Voltage lost at both brushes. [V]

    Returns
    -------
    float or array-like, shape (n,)
        Density exponent between 0 and 1.5, uncertain by 0.3. [-]

    Notes
    -----
    n = 2b + m (2 - f b), which follows from the two formulas of `exponents_in_theory` by removing
    q; f is taken as 0.8.

    Examples
    --------
    >>> round(float(density_exponent_from_wind(2.6, emf_v=1.62)), 2)
    0.41
    """
    b = brush_factor(emf_v, brush_drop_v)
    exponent = (wind_exponent - 2 * b) / (2 - ROTOR_SHARE * b)
    clipped: Numeric = np.clip(exponent, *DENSITY_EXPONENTS)
    return clipped


def density_per_wind_exponent(emf_v: Numeric, brush_drop_v: Numeric | float = 0.1) -> Numeric:
    """Return the slope of the density exponent over the wind exponent it is calculated from.

    Parameters
    ----------
    emf_v : float or array-like, shape (n,)
        Voltage behind the terminals. [V]
    brush_drop_v : float or array-like, shape (n,), optional
        Voltage lost at both brushes. [V]

    Returns
    -------
    float or array-like, shape (n,)
        1/(2 - f b). [-]

    Examples
    --------
    >>> round(density_per_wind_exponent(1.62), 2)
    0.87
    """
    slope: Numeric = 1 / (2 - ROTOR_SHARE * brush_factor(emf_v, brush_drop_v))
    return slope


def brush_factor(emf_v: Numeric | None, brush_drop_v: Numeric | float) -> Any:
    """Return b = E/(E - V_b), the factor by which the brush drop raises both exponents.

    Parameters
    ----------
    emf_v : float or array-like, shape (n,), or None
        Voltage behind the terminals, above the brush drop; None gives 1. [V]
    brush_drop_v : float or array-like, shape (n,)
        Voltage lost at both brushes. [V]

    Returns
    -------
    float or array-like, shape (n,)
        At least 1. [-]

    Examples
    --------
    >>> round(brush_factor(0.5, 0.1), 3), brush_factor(None, 0.1)
    (1.25, 1.0)
    """
    if emf_v is None:
        return 1.0
    return emf_v / (emf_v - brush_drop_v)
