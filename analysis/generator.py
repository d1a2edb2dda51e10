"""Model a small direct-current generator by its EMF constant, resistance and brush drop."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, Numeric
from analysis.errors import InvalidInput, TooFewTrials
from analysis.numeric.least_squares import ordinary_least_squares
from analysis.reasons import reason

DEFAULT_BRUSH_DROP_V = 0.1  # [V], both brushes, 0.05 to 0.3; common practice, no source
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
    """Return the rotor speed, calculated from the voltage across a known load.

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


MIN_LOADS = 3
MOST_ABOVE = 2.0  # [-], a parabola's top over the best reading; a higher top is not trusted
LARGEST = 1e9  # [A], [W], more than could be measured
ROUNDING = 1e-6  # [-], share of a step that rounding may take
LARGEST_RESIDUAL = 0.05  # [-], of the largest voltage; with a larger one the line does not fit


@dataclass(frozen=True, slots=True)
class LoadSweep:
    """Rotor and generator as a voltage source, fitted to a sweep of loads at one wind.

    `valid` is false near stall, where volts and amperes do not follow a line. The best load is then
    the top of a parabola through the best tested load and its neighbours, and `reason` says so.
    """

    source_voltage_v: float
    source_resistance_ohm: float
    u_resistance_ohm: float
    matched_load_ohm: float
    max_power_w: float
    best_tested_load_ohm: float
    largest_residual: float
    valid: bool
    loads: int
    reason: str


def mismatch(load_ohm: Numeric, matched_load_ohm: Numeric | float) -> Numeric:
    """Return the power at a load, as a share of the power at the best load.

    Parameters
    ----------
    load_ohm : float or array-like, shape (n,)
        Load used. [Ω]
    matched_load_ohm : float or array-like, shape (n,)
        Best load. [Ω]

    Returns
    -------
    float or array-like, shape (n,)
        4x/(1+x)² with x the ratio of the two: flat at the top. [-]

    Examples
    --------
    >>> [round(mismatch(x, 1.0), 2) for x in (1.5, 2.0, 3.0, 10.0)]
    [0.96, 0.89, 0.75, 0.33]
    """
    x = load_ohm / matched_load_ohm
    return 4 * x / (1 + x) ** 2


def fit_load_sweep(load_ohm: npt.ArrayLike, voltage_v: npt.ArrayLike) -> LoadSweep:
    """Return the voltage source fitted to a sweep of loads at one wind, and its best load.

    Parameters
    ----------
    load_ohm : array-like, shape (n,)
        Load of each reading, above 0. [Ω]
    voltage_v : array-like, shape (n,)
        Voltage across it; the sign does not matter. [V]

    Returns
    -------
    LoadSweep
        Source voltage and resistance by the line V = E - R I; best load and power.

    Raises
    ------
    InvalidInput
        With values that are not finite, loads not above 0, or no voltage at all.
    TooFewTrials
        With fewer than three different loads.

    Notes
    -----
    The resistance is larger than the winding's, because the rotor slows under load. A load between
    two thirds and one and a half times the best one gives 96 % or more: a rough match is enough.

    Examples
    --------
    >>> loads = np.array([5.0, 10.0, 15.0, 22.0, 33.0, 47.0])
    >>> sweep = fit_load_sweep(loads, 4.2 * loads / (loads + 15))
    >>> round(sweep.source_voltage_v, 6), round(sweep.matched_load_ohm, 6), sweep.valid
    (4.2, 15.0, True)
    """
    load, volts = _checked_sweep(load_ohm, voltage_v)
    with np.errstate(over="ignore"):
        current, powers = volts / load, volts**2 / load
    if not np.all(np.maximum(current, powers) < LARGEST):
        raise InvalidInput(reason("load_sweep_beyond_measure"))
    fit = ordinary_least_squares(np.column_stack([np.ones_like(current), current]), volts)
    source_v, slope = (float(each) for each in fit.coefficients)
    residual = float(np.max(np.abs(fit.residuals)) / volts.max())
    best = float(load[np.argmax(powers)])
    if slope < 0 and source_v > 0 and residual <= LARGEST_RESIDUAL:
        matched, power, why = -slope, source_v**2 / (-4 * slope), ""
    else:
        matched, power = _local_best(load, volts)
        why = reason("no_line_near_stall")
    return LoadSweep(
        source_voltage_v=source_v,
        source_resistance_ohm=-slope,
        u_resistance_ohm=fit.standard_error(1),
        matched_load_ohm=matched,
        max_power_w=power,
        best_tested_load_ohm=best,
        largest_residual=residual,
        valid=not why,
        loads=len(np.unique(load)),
        reason=why,
    )


def _checked_sweep(
    load_ohm: npt.ArrayLike, voltage_v: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    load, volts = np.asarray(load_ohm, dtype=float), np.abs(np.asarray(voltage_v, dtype=float))
    if load.shape != volts.shape or not np.all(np.isfinite(np.concatenate([load, volts]))):
        raise InvalidInput("a load sweep needs as many finite voltages as loads")
    if not (np.all(load > 0) and np.any(volts > 0)):
        raise InvalidInput(reason("load_or_volts_zero"))
    loads = len(np.unique(load))
    if loads < MIN_LOADS:
        raise TooFewTrials(reason("too_few_loads", least=MIN_LOADS, got=loads))
    return load, volts


def _local_best(load: FloatArray, volts: FloatArray) -> tuple[float, float]:
    """Return best load and power from a parabola of ln P on ln R through the three top points."""
    loads = np.unique(load)
    power = np.array([np.mean(volts[load == each] ** 2 / each) for each in loads])
    best = int(np.argmax(power))
    if best in (0, len(loads) - 1) or np.any(power[best - 1 : best + 2] <= 0):
        return float(loads[best]), float(power[best])
    near = slice(best - 1, best + 2)
    top = parabola_top(np.log(loads[near]), np.log(power[near]))
    if top is None or top[1] > math.log(MOST_ABOVE * power[best]):
        return float(loads[best]), float(power[best])
    return math.exp(top[0]), math.exp(top[1])


def parabola_top(x: FloatArray, y: FloatArray) -> tuple[float, float] | None:
    """Return the top of the parabola through three points.

    Parameters
    ----------
    x, y : array, shape (3,)
        Points with growing x. [any]

    Returns
    -------
    tuple of float or None
        Position and height of the top; None if the points have no maximum between the first and the
        last.

    Examples
    --------
    >>> at, height = parabola_top(np.array([10.0, 15.0, 20.0]), np.array([1.83, 1.87, 1.60]))
    >>> round(at, 4), round(height, 3)
    (13.1452, 1.891)
    """
    steps = np.diff(x)
    if not np.all(steps > np.spacing(np.abs(x).max()) / ROUNDING):
        return None  # so close that they differ by rounding only
    first, second = np.diff(y) / steps
    bend = float((second - first) / (x[2] - x[0]))
    if not bend < 0:
        return None
    at = float((x[0] + x[1] - first / bend) / 2)
    if not x[0] <= at <= x[2]:
        return None
    return at, float(y[0] + first * (at - x[0]) + bend * (at - x[0]) * (at - x[1]))


@dataclass(frozen=True, slots=True)
class SpinTest:
    """EMF constant of a generator, from open-circuit voltages at driven speeds."""

    emf_constant_v_s_rad: float
    offset_v: float


@dataclass(frozen=True, slots=True)
class ConstantSpeedTest:
    """Winding resistance of a generator, from loads at one driven speed."""

    winding_resistance_ohm: float
    source_voltage_v: float


def fit_spin_test(rotor_speed_rpm: npt.ArrayLike, voltage_v: npt.ArrayLike) -> SpinTest:
    """Return the EMF constant from open-circuit voltages at several driven speeds.

    Parameters
    ----------
    rotor_speed_rpm : array-like, shape (n,)
        Driven speeds of the generator. [1/min]
    voltage_v : array-like, shape (n,)
        Open-circuit voltages. [V]

    Returns
    -------
    SpinTest
        Slope and offset of the line V = a + k ω.

    Raises
    ------
    TooFewTrials
        With fewer than two different speeds.

    Examples
    --------
    >>> test = fit_spin_test([300, 600, 900, 1200, 1500], [0.93, 1.87, 2.80, 3.76, 4.69])
    >>> round(test.emf_constant_v_s_rad, 5), round(test.offset_v, 3)
    (0.02995, -0.013)
    """
    speed = np.asarray(rotor_speed_rpm, dtype=float) / RPM_PER_RAD_S
    if len(np.unique(speed)) < 2:
        raise TooFewTrials("a spin test needs two different speeds")
    slope, offset = np.polyfit(speed, np.asarray(voltage_v, dtype=float), 1)
    return SpinTest(float(slope), float(offset))


def fit_constant_speed_test(load_ohm: npt.ArrayLike, voltage_v: npt.ArrayLike) -> ConstantSpeedTest:
    """Return winding resistance and source voltage from loads at one driven speed.

    Parameters
    ----------
    load_ohm : array-like, shape (n,)
        Loads, above 0. [Ω]
    voltage_v : array-like, shape (n,)
        Voltages across them. [V]

    Returns
    -------
    ConstantSpeedTest
        Slope and intercept of the line V = E' - R_i I; the brush drop is k ω less E'.

    Examples
    --------
    >>> test = fit_constant_speed_test([5.1, 10, 22, 47], [1.38, 1.98, 2.62, 3.10])
    >>> round(test.winding_resistance_ohm, 2), round(test.source_voltage_v, 3)
    (8.36, 3.636)
    """
    sweep = fit_load_sweep(load_ohm, voltage_v)
    return ConstantSpeedTest(sweep.source_resistance_ohm, sweep.source_voltage_v)
