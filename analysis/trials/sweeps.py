"""Choose the exponents that normalise trials: a build's own by its wind sweep, or the default.

A sweep is the wind trials of one build at one load in one session. The newest
one that can be used counts. Its exponent is shrunk towards the other builds of
the season, and is used only at winds that the sweep covers.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis import exponent, torque_balance
from analysis.columns import Columns, FloatArray, TextArray, numbers, or_default
from analysis.errors import AnalysisError
from analysis.exponent import WindExponent, fit_wind_exponent
from analysis.generator import DEFAULT_BRUSH_DROP_V
from analysis.numeric.groups import group_by
from analysis.trials.inputs import TrialInputs
from analysis.trials.power import run_power

WIND, ACCEPTED = "wind", "accepted"
LEAST_SWEEPS = 8  # before a season's own mean and spread replace the assumed ones
LEAST_SPREAD = 0.1  # [-], of exponents between builds, however alike a few of them look


@dataclass(frozen=True, slots=True)
class Exponents:
    """Exponents of wind and air density, with standard uncertainties; one value per trial.

    `density_per_wind` is the slope of the density exponent over the wind exponent: 0 if it was not
    calculated from it. `is_own` tells which trials are normalised by their build's own sweep.
    """

    wind: FloatArray
    u_wind: FloatArray
    density: FloatArray
    u_density: FloatArray
    density_per_wind: FloatArray
    is_own: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class BuildSweep:
    """Result of a build's wind sweep; `reason` says why it is not used, and is empty if it is."""

    build_id: str
    session_id: str
    load_ohm: float
    speeds: int
    readings: int
    fit: WindExponent | None
    reason: str


def default_exponents(count: int) -> Exponents:
    """Return the exponents of builds that have no sweep of their own.

    Parameters
    ----------
    count : int
        Number of trials.

    Returns
    -------
    Exponents
        2.6 ± 0.4 for wind, 0.5 ± 0.3 for density.

    Examples
    --------
    >>> default_exponents(1).wind.tolist()
    [2.6]
    """
    return Exponents(
        wind=np.full(count, exponent.DEFAULT_WIND_EXPONENT),
        u_wind=np.full(count, exponent.DEFAULT_WIND_EXPONENT_UNCERTAINTY),
        density=np.full(count, exponent.DEFAULT_DENSITY_EXPONENT),
        u_density=np.full(count, exponent.DEFAULT_DENSITY_EXPONENT_UNCERTAINTY),
        density_per_wind=np.zeros(count),
        is_own=np.zeros(count, dtype=bool),
    )


def used_exponents(trials: Columns, inputs: TrialInputs) -> Exponents:
    """Return the exponents that trials are normalised with.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS`: the columns `sweep_…` have the result of each build's sweep, NaN without a
        sweep, and the columns `season_…` summarise all sweeps of the season.
    inputs : TrialInputs
        What is taken of the trials.

    Returns
    -------
    Exponents
        One value per trial.

    Notes
    -----
    Never extrapolated: at a wind that the sweep does not cover within 5 %, and for a build without
    a sweep, mean and spread over the season's swept builds are taken, or 2.6 ± 0.4 while fewer than
    eight were swept. The density exponent follows from the wind exponent where the generator's
    constants are known.
    """
    fitted = numbers(trials["sweep_exponent"])
    reach = 1 + exponent.SWEEP_REACH + exponent.ROUNDING
    speed = inputs.wind_speed_m_s
    with np.errstate(invalid="ignore"):
        is_own = (
            np.isfinite(fitted)
            & (speed >= numbers(trials["sweep_slowest_m_s"]) / reach)
            & (speed <= numbers(trials["sweep_fastest_m_s"]) * reach)
        )
    prior, u_prior = season_prior(trials)
    shrunk = exponent.shrink(fitted, numbers(trials["sweep_standard_error"]), prior, u_prior)
    default = replace(default_exponents(len(fitted)), wind=prior, u_wind=u_prior)
    density, per_wind = _density(trials, inputs, shrunk.exponent)
    by_density = is_own & np.isfinite(density)
    return Exponents(
        wind=np.where(is_own, shrunk.exponent, default.wind),
        u_wind=np.where(is_own, shrunk.standard_error, default.u_wind),
        density=np.where(by_density, density, default.density),
        u_density=default.u_density,
        density_per_wind=np.where(by_density, per_wind, 0.0),
        is_own=is_own,
    )


def season_prior(trials: Columns) -> tuple[FloatArray, FloatArray]:
    """Return mean and spread of wind exponents among a season's builds.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `season_sweeps`, `season_mean_exponent`, `season_mean_square_exponent` and
        `season_mean_square_error`: number of sweeps, means of the exponent and of its square, and
        mean square of their standard errors.

    Returns
    -------
    tuple of array, shape (n,)
        Mean and standard deviation: assumed values until eight builds have a sweep. [-]

    Notes
    -----
    The variance of the sweeps' own errors is subtracted from the variance between builds.

    Examples
    --------
    >>> few = {"season_sweeps": np.array([7.0]), "season_mean_exponent": np.array([2.3]),
    ...     "season_mean_square_exponent": np.array([5.3]),
    ...     "season_mean_square_error": np.array([0.01])}
    >>> [each.tolist() for each in season_prior(few)]
    [[2.6], [0.4]]
    >>> mean, spread = season_prior(few | {"season_sweeps": np.array([8.0]),
    ...     "season_mean_square_exponent": np.array([5.3796])})
    >>> mean.tolist(), spread.round(2).tolist()
    ([2.3], [0.27])
    """
    count, mean = numbers(trials["season_sweeps"]), numbers(trials["season_mean_exponent"])
    enough = count >= LEAST_SWEEPS
    safe = np.where(enough, count, LEAST_SWEEPS)
    observed = (numbers(trials["season_mean_square_exponent"]) - mean**2) * safe / (safe - 1)
    errors = numbers(trials["season_mean_square_error"]) + exponent.ZERO_OFFSET_UNCERTAINTY**2
    spread = np.sqrt(np.maximum(observed - errors, LEAST_SPREAD**2))
    return (
        np.where(enough, mean, exponent.DEFAULT_WIND_EXPONENT),
        np.where(enough, spread, exponent.DEFAULT_WIND_EXPONENT_UNCERTAINTY),
    )


def _density(
    trials: Columns, inputs: TrialInputs, wind_exponent: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return density exponents from wind exponents, NaN without generator constants; and slopes."""
    brush = or_default(trials["brush_drop_v"], DEFAULT_BRUSH_DROP_V)
    winding, load = numbers(trials["winding_resistance_ohm"]), numbers(trials["load_ohm"])
    with np.errstate(divide="ignore", invalid="ignore"):
        volts = np.sqrt(inputs.power_w * load)
        emf = volts * (1 + winding / load) + brush
        density = torque_balance.density_exponent_from_wind(wind_exponent, emf, brush)
        per_wind = torque_balance.density_per_wind_exponent(emf, brush)
    low, high = torque_balance.DENSITY_EXPONENTS
    inside = (density > low) & (density < high)
    return density, np.where(inside, per_wind, 0.0)


def find_sweeps(trials: Columns, runs: Columns, inputs: TrialInputs) -> list[BuildSweep]:
    """Return one wind sweep for each build that has any: the sweep that counts.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS` and `build_id`, `session_id`, `state` and `started_at`.
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.
    inputs : TrialInputs
        What is taken of the trials.

    Returns
    -------
    list of BuildSweep
        In the order of build ids: the newest sweep that can be used, or else the newest one.
    """
    trial = np.asarray(runs["trial"], dtype=np.int64)
    load = numbers(trials["load_ohm"])
    power = run_power(runs, load[trial])
    swept = (np.asarray(trials["kind"]) == WIND) & (np.asarray(trials["state"]) == ACCEPTED)
    swept &= np.isfinite(inputs.wind_speed_m_s)
    with np.errstate(invalid="ignore"):
        rows = np.flatnonzero(swept[trial] & (power > 0))
    columns = {name: np.asarray(trials[name])[trial[rows]] for name in
              ("build_id", "session_id", "started_at")}  # fmt: skip
    columns |= {
        "load_ohm": load[trial[rows]],
        "wind_speed_m_s": inputs.wind_speed_m_s[trial[rows]],
        "reference_wind_speed_m_s": inputs.reference_wind_speed_m_s[trial[rows]],
        "power_w": power[rows],
    }
    builds = group_by(columns["build_id"].astype(str))
    return [_sweep_of(columns, np.flatnonzero(builds.codes == code)) for code in range(builds.size)]


def _sweep_of(columns: dict[str, TextArray], rows: npt.NDArray[np.int64]) -> BuildSweep:
    """Return a build's newest sweep that can be used, or else its newest."""
    settings = {(columns["started_at"][row], columns["session_id"][row], columns["load_ohm"][row])
                for row in rows}  # fmt: skip
    sweeps = [
        _fitted(
            columns,
            rows[(columns["session_id"][rows] == session) & (columns["load_ohm"][rows] == load)],
        )
        for _, session, load in sorted(settings, reverse=True)
    ]
    return next((sweep for sweep in sweeps if not sweep.reason), sweeps[0])


def _fitted(columns: dict[str, TextArray], rows: npt.NDArray[np.int64]) -> BuildSweep:
    first = rows[0]
    fit, reason = None, ""
    try:
        fit = fit_wind_exponent(
            columns["wind_speed_m_s"][rows],
            columns["power_w"][rows],
            float(columns["reference_wind_speed_m_s"][first]),
        )
        reason = fit.reason
    except AnalysisError as error:
        reason = str(error)
    return BuildSweep(
        build_id=str(columns["build_id"][first]),
        session_id=str(columns["session_id"][first]),
        load_ohm=float(columns["load_ohm"][first]),
        speeds=len(np.unique(columns["wind_speed_m_s"][rows])),
        readings=len(rows),
        fit=fit,
        reason=reason,
    )
