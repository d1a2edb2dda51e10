"""A small direct-current generator as a source with a constant, a resistance and a brush drop."""

import math

from analysis.columns import Numeric

DEFAULT_BRUSH_DROP_V = 0.1  # [V], both brushes of a small motor; 0.05 to 0.3 [memory]
RPM_PER_RAD_S = 30 / math.pi  # [(1/min)/(rad/s)]


def rotor_speed_from_voltage(
    voltage_v: Numeric,
    load_ohm: Numeric,
    emf_constant_v_s_rad: Numeric,
    winding_resistance_ohm: Numeric,
    *,
    brush_drop_v: Numeric | float = DEFAULT_BRUSH_DROP_V,
    gear_ratio: Numeric | float = 1.0,
) -> Numeric:
    """Return the rotor speed that a voltage across a known load tells.

    Parameters
    ----------
    voltage_v : float or array-like, shape (n,)
        Voltage across the connected load. [V]
    load_ohm : float or array-like, shape (n,)
        Load resistance. [Ω]
    emf_constant_v_s_rad : float or array-like, shape (n,)
        Constant of the generator at its own shaft. [V·s/rad]
    winding_resistance_ohm : float or array-like, shape (n,)
        Resistance of winding and brushes. [Ω]
    brush_drop_v : float or array-like, shape (n,), optional
        Voltage lost at both brushes. [V]
    gear_ratio : float or array-like, shape (n,), optional
        Turns of the generator for one turn of the rotor. [-]

    Returns
    -------
    float or array-like, shape (n,)
        Speed of the rotor, good to 3 to 5 % in practice. [1/min]

    Notes
    -----
    The voltage behind the terminals is E = V (1 + R_i/R_L) + V_b, and E = k ω.
    In SI units the EMF constant equals the torque constant (any text on direct-current machines).

    Examples
    --------
    >>> round(rotor_speed_from_voltage(1.2, 30.1, 0.03, 8.0), 1)
    515.3
    """
    emf_v = abs(voltage_v) * (1 + winding_resistance_ohm / load_ohm) + brush_drop_v
    return emf_v / (emf_constant_v_s_rad * gear_ratio) * RPM_PER_RAD_S
