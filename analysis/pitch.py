"""Find the blade pitch of highest power with its uncertainty, and the pitch to try next.

The low side of the peak is a cliff (stall) and the high side a gentle slope,
so a parabola is fitted in the logarithm of the pitch, near the top only, and
its limits are widened, because the true curve is not a parabola.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.errors import InvalidInput, TooFewTrials
from analysis.numeric.distributions import f_exceeds, student_t_quantile
from analysis.numeric.groups import group_by
from analysis.numeric.least_squares import Fit, ordinary_least_squares
from analysis.reasons import reason

MIN_PITCHES = 4
WINDOWS_DEG = (4.0, 5.0)  # [°], largest distance from the best tested pitch, tried in turn
LOG_ABOVE_DEG = 2.0  # [°], the logarithm stretches smaller pitches too much
CONFIDENCE = 0.95  # quantile of Student's t; two-sided 90 %
TWO_SIDED_95 = 0.975  # quantile of Student's t
#: Standard uncertainty from the curve's shape, which no parabola has, in degrees and as a share of
#: the pitch: the larger counts. By simulation of four shapes (tests/bench/calibration/sweeps.py).
SHAPE_DEG, SHAPE_SHARE = 0.4, 0.04
PLATEAU = 0.97  # [-], power that is as good as the best
SURE_OF_PLATEAU = 1.2816  # [-], normal quantile: nine in ten at either end
STEP_DEG = 0.5  # [°], nobody sets a blade more closely
LACK_OF_FIT = 0.05  # probability below which the shape does not fit
RIGHT_ANGLE_DEG = 90.0  # [°]
MOST_ABOVE = 2.0  # [-], a fitted peak over the best reading; a higher peak is not trusted
LEAST_DEG, MOST_DEG = 3.0, 45.0  # [°], pitches worth trying
START_DEG = (8.0, 14.0, 22.0)  # [°], the first pitches of a new rotor
WIDE_GAP_DEG = 4.0  # [°], between neighbours of the best


@dataclass(frozen=True, slots=True)
class PitchOptimum:
    """The pitch of highest power, its uncertainty, and the pitches that are just as good.

    `u_deg` joins the fit's own standard error and the uncertainty from the curve's shape, and
    `interval_deg` holds the best pitch with about 95 %; `fieller_deg` are limits with 90 %. From
    one end of `plateau_deg` to the other a pitch gives at least 97 % of the peak, with about 80 %
    for both ends; it is narrow where the peak is known badly. Limits are at half degrees.
    `lack_of_fit` says that repeats agree better than the curve does.
    """

    best_pitch_deg: float
    standard_error_deg: float
    fieller_deg: tuple[float, float] | None
    u_deg: float
    interval_deg: tuple[float, float]
    plateau_deg: tuple[float, float]
    peak_power_w: float
    bracketed: bool
    readings: int
    lack_of_fit: bool


class NoPeak(TooFewTrials):
    """Valid pitches and powers that do not show a peak; the message says why."""


@dataclass(frozen=True, slots=True)
class _Scale:
    """The scale on which a parabola is fitted: pitch or its logarithm, less the mean."""

    mean: float
    is_log: bool

    def to(self, pitch_deg: FloatArray) -> FloatArray:
        """Return pitches on the scale."""
        return (np.log(pitch_deg) if self.is_log else pitch_deg) - self.mean

    def back(self, z: float) -> float:
        """Return a pitch from the scale."""
        return math.exp(z + self.mean) if self.is_log else z + self.mean

    def slope(self, pitch_deg: float) -> float:
        """Return degrees per unit of the scale at a pitch."""
        return pitch_deg if self.is_log else 1.0


def find_optimum(pitch_deg: npt.ArrayLike, power_w: npt.ArrayLike) -> PitchOptimum:
    """Return the pitch at which power peaks, from a sweep at one load and one wind.

    Parameters
    ----------
    pitch_deg : array-like, shape (n,)
        Pitch of each reading; a pitch may occur several times. [°]
    power_w : array-like, shape (n,)
        Power of each reading, above 0. [W]

    Returns
    -------
    PitchOptimum
        Best pitch with its limits.

    Raises
    ------
    InvalidInput
        With values that are not finite, pitches beyond a right angle, or powers not above 0.
    TooFewTrials
        With fewer than four pitches.
    NoPeak
        If the best tested pitch is at an end, or the curve has no significant peak inside.

    Notes
    -----
    ln P is fitted by 1, z, z² with z = ln β less its mean, over the readings within 4° of the best
    tested pitch (5° where that leaves fewer than four pitches). The limits of the vertex are
    Fieller's; to these and to `u_deg` 0.4° or 4 % are added in quadrature for the shape.

    References
    ----------
    .. [1] Fieller, E. C., "Some problems in interval estimation", J. R. Stat. Soc. B 16 (1954)
       175-185; the limits as Wikipedia's "Fieller's theorem" gives them.

    Examples
    --------
    >>> sweep = np.repeat([6.0, 8.5, 11.0, 13.5, 16.0], 2)
    >>> power = 0.05 * np.exp(-1.6 * (np.log(sweep / 11.2)) ** 2) * np.tile([0.99, 1.01], 5)
    >>> round(find_optimum(sweep, power).best_pitch_deg, 1)
    11.2
    """
    pitch, power = _checked(pitch_deg, power_w)
    best = _best_tested(pitch, np.log(power))
    near = _window(pitch, best)
    scale = _scale(pitch[near])
    z, y = scale.to(pitch[near]), np.log(power[near])
    fit = ordinary_least_squares(np.column_stack([np.ones_like(z), z, z**2]), y)
    return _optimum(fit, scale, pitch[near], z, y)


def _checked(pitch_deg: npt.ArrayLike, power_w: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    pitch, power = np.asarray(pitch_deg, dtype=float), np.asarray(power_w, dtype=float)
    if pitch.shape != power.shape or not (
        np.all(np.isfinite(pitch)) and np.all(np.isfinite(power))
    ):
        raise InvalidInput("a sweep needs as many finite powers as pitches")
    if np.any(np.abs(pitch) > RIGHT_ANGLE_DEG):
        raise InvalidInput("a pitch must be between -90 and 90 degrees")
    if not np.all(power > 0):
        raise InvalidInput(reason("power_zero"))
    return pitch, power


def _best_tested(pitch: FloatArray, ln_power: FloatArray) -> float:
    """Return the pitch with the highest mean, which must have neighbours on both sides."""
    by_pitch = group_by(pitch)
    if by_pitch.size < MIN_PITCHES:
        raise TooFewTrials(reason("too_few_pitches", least=MIN_PITCHES, got=by_pitch.size))
    position = int(np.argmax(by_pitch.mean(ln_power)))
    if position in (0, by_pitch.size - 1):
        edge = "lowest" if position == 0 else "highest"
        raise NoPeak(reason(f"rising_at_{edge}_pitch"))
    return float(by_pitch.labels[position])


def _window(pitch: FloatArray, best: float) -> npt.NDArray[np.bool_]:
    """Return a mask of the readings close enough to the best pitch to fit the top."""
    distance = np.abs(pitch - best)
    for width in WINDOWS_DEG:
        near = distance <= width
        pitches = len(np.unique(pitch[near]))
        if pitches >= MIN_PITCHES or (width == WINDOWS_DEG[-1] and _has_enough(pitch, near, best)):
            return near
    nearest = np.sort(np.unique(distance))
    return next(
        near
        for near in (distance <= width for width in nearest)
        if len(np.unique(pitch[near])) >= MIN_PITCHES and _has_enough(pitch, near, best)
    )


def _has_enough(pitch: FloatArray, near: npt.NDArray[np.bool_], best: float) -> bool:
    """Tell whether a window has both sides of the best pitch and more readings than unknowns."""
    inside = pitch[near]
    return bool((inside < best).any() and (inside > best).any() and inside.size > 3)


def _scale(pitch: FloatArray) -> _Scale:
    if np.all(pitch > LOG_ABOVE_DEG):
        return _Scale(float(np.log(pitch).mean()), is_log=True)
    return _Scale(float(pitch.mean()), is_log=False)


def _optimum(
    fit: Fit, scale: _Scale, pitch: FloatArray, z: FloatArray, y: FloatArray
) -> PitchOptimum:
    """Return the vertex of a fitted parabola, or raise `NoPeak`."""
    c0, c1, c2 = (float(each) for each in fit.coefficients)
    t = student_t_quantile(CONFIDENCE, fit.degrees_of_freedom)
    if not (c2 < 0 and -c2 >= t * fit.standard_error(2)):
        raise NoPeak(reason("no_peak_seen"))
    vertex = -c1 / (2 * c2)
    if not z.min() <= vertex <= z.max():
        raise NoPeak(reason("peak_outside"))
    top = c0 - c1**2 / (4 * c2)
    if not top <= float(y.max()) + math.log(MOST_ABOVE):
        raise NoPeak(reason("peak_far_above"))
    best = scale.back(vertex)
    standard_error = scale.slope(best) * _vertex_error(fit, c1, c2)
    shape = max(SHAPE_DEG, SHAPE_SHARE * best)
    u = math.hypot(standard_error, shape)
    reach = math.hypot(
        student_t_quantile(TWO_SIDED_95, fit.degrees_of_freedom) * standard_error, 1.96 * shape
    )
    # Far outside of what was tested no curve is a guide: such a limit is none.
    span = float(z.max() - z.min())
    half = min(math.sqrt(math.log(1 / PLATEAU) / -c2), span)
    limits = _fieller(fit, c1, c2, t)
    if limits and not z.min() - span <= limits[0] < limits[1] <= z.max() + span:
        limits = None
    return PitchOptimum(
        best_pitch_deg=best,
        standard_error_deg=standard_error,
        fieller_deg=limits and _widened(best, scale, limits, 1.645 * shape),
        u_deg=u,
        interval_deg=_half_degrees_out(best - reach, best + reach),
        plateau_deg=_plateau(best, scale, vertex, half, u),
        peak_power_w=math.exp(top),
        bracketed=True,
        readings=pitch.size,
        lack_of_fit=_lacks_fit(fit, pitch, y),
    )


def _widened(
    best: float, scale: _Scale, limits: tuple[float, float], shape: float
) -> tuple[float, float]:
    """Return the fit's own limits with the uncertainty from the curve's shape."""
    low, high = (scale.back(each) for each in limits)
    return _half_degrees_out(best - math.hypot(best - low, shape),
                             best + math.hypot(high - best, shape))  # fmt: skip


def _half_degrees_out(low: float, high: float) -> tuple[float, float]:
    """Return limits at the next half degrees outside."""
    return (STEP_DEG * math.floor(low / STEP_DEG), STEP_DEG * math.ceil(high / STEP_DEG))


def _plateau(
    best: float, scale: _Scale, vertex: float, half: float, u: float
) -> tuple[float, float]:
    """Return between which pitches power is as good as the best, as far as that is sure."""
    low, high = scale.back(vertex - half), scale.back(vertex + half)
    sure = SURE_OF_PLATEAU * u
    return min(best, low + sure), max(best, high - sure)


def _vertex_error(fit: Fit, c1: float, c2: float) -> float:
    """Return the standard error of -c1/(2 c2), to first order."""
    gradient = np.array([0.0, -1 / (2 * c2), c1 / (2 * c2**2)])
    return float(np.sqrt(gradient @ fit.covariance @ gradient))


def _fieller(fit: Fit, c1: float, c2: float, t: float) -> tuple[float, float] | None:
    """Return Fieller's limits of the vertex; None if they are unbounded."""
    c11, c12, c22 = fit.covariance[1, 1], fit.covariance[1, 2], fit.covariance[2, 2]
    a = 4 * c2**2 - 4 * t**2 * c22
    b = 4 * c1 * c2 - 4 * t**2 * c12
    c = c1**2 - t**2 * c11
    root = b**2 - 4 * a * c
    if a <= 0 or root < 0:
        return None
    return (-b - math.sqrt(root)) / (2 * a), (-b + math.sqrt(root)) / (2 * a)


def _lacks_fit(fit: Fit, pitch: FloatArray, y: FloatArray) -> bool:
    """Tell whether the curve misses the means by more than repeats scatter."""
    by_pitch = group_by(pitch)
    repeats = pitch.size - by_pitch.size
    spare = by_pitch.size - 3
    pure = float(np.sum((y - by_pitch.mean(y)[by_pitch.codes]) ** 2))
    if repeats < 1 or spare < 1 or pure == 0:
        return False
    lack = float(fit.residuals @ fit.residuals) - pure
    return f_exceeds((lack / spare) / (pure / repeats), spare, repeats) < LACK_OF_FIT


def next_pitch(pitch_deg: npt.ArrayLike, power_w: npt.ArrayLike) -> float:
    """Return the pitch to try next.

    Parameters
    ----------
    pitch_deg : array-like, shape (n,)
        Pitches tried so far; none is allowed. [°]
    power_w : array-like, shape (n,)
        Powers, above 0. [W]

    Returns
    -------
    float
        Pitch to try. [°]

    Notes
    -----
    First 8°, 14°, 22°. While the best is at an end, go on beyond it. With the best between two
    others, halve the wider gap next to it while that is above 4°; then repeat the one of the three
    centre pitches that was run least.

    Examples
    --------
    >>> next_pitch([], []), next_pitch([8, 14, 22], [0.05, 0.04, 0.02])
    (8.0, 5.3)
    >>> next_pitch([8, 14, 22], [0.03, 0.05, 0.02])
    18.0
    """
    pitch, power = _checked(pitch_deg, power_w)
    tried = group_by(pitch)
    for start in START_DEG:
        if tried.size < len(START_DEG) and not np.any(np.abs(tried.labels - start) < 1):
            return start
    means = tried.mean(np.log(power))
    best = int(np.argmax(means))
    pitches = [float(each) for each in tried.labels]
    if best == 0:
        lower = pitches[0] / 1.5 if pitches[0] <= 8 else pitches[0] - 4
        return round(max(LEAST_DEG, lower), 1)
    if best == len(pitches) - 1:
        return round(min(MOST_DEG, pitches[-1] * 1.4), 1)
    below, above = pitches[best] - pitches[best - 1], pitches[best + 1] - pitches[best]
    if max(below, above) > WIDE_GAP_DEG:
        return pitches[best] + (above / 2 if above >= below else -below / 2)
    counts = tried.count()
    centre = range(best - 1, best + 2)
    return pitches[min(centre, key=lambda position: (counts[position], abs(position - best)))]
