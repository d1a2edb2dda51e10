"""The exponents that trials are normalised with: a build's own by its wind sweep, or the default.

A sweep is the wind trials of one build at one load in one session. The newest
one that can be used counts. What it says is drawn towards the other builds of
the season, and it is used only at winds that the sweep covers.
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
    """How power follows wind and air density, with standard uncertainties; one value per trial.

    `density_per_wind` is how much the density exponent moves with the wind exponent: 0 where it was
    not found from it. `is_own` tells which trials are normalised by their build's own sweep.
    """

    wind: FloatArray
    u_wind: FloatArray
    density: FloatArray
    u_density: FloatArray
    density_per_wind: FloatArray
    is_own: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class BuildSweep:
    """What a build's wind sweep found; `reason` says why it is not used, if it is not."""

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
        How many trials.

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
        `TRIAL_COLUMNS`: what each build's sweep found is in the columns `sweep_…`, NaN where there
        is none, and what all sweeps of the season say in the columns `season_…`.
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
    found = numbers(trials["sweep_exponent"])
    reach = 1 + exponent.SWEEP_REACH + exponent.ROUNDING
    speed = inputs.wind_speed_m_s
    with np.errstate(invalid="ignore"):
        is_own = (
            np.isfinite(found)
            & (speed >= numbers(trials["sweep_slowest_m_s"]) / reach)
            & (speed <= numbers(trials["sweep_fastest_m_s"]) * reach)
        )
    prior, u_prior = season_prior(trials)
    shrunk = exponent.shrink(found, numbers(trials["sweep_standard_error"]), prior, u_prior)
    default = replace(default_exponents(len(found)), wind=prior, u_wind=u_prior)
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
        Mean and standard deviation: assumed until eight builds have been swept. [-]

    Notes
    -----
    The sweeps' own errors are taken off the variance between builds.

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
    seen = (numbers(trials["season_mean_square_exponent"]) - mean**2) * safe / (safe - 1)
    errors = numbers(trials["season_mean_square_error"]) + exponent.ZERO_OFFSET_UNCERTAINTY**2
    spread = np.sqrt(np.maximum(seen - errors, LEAST_SPREAD**2))
    return (
        np.where(enough, mean, exponent.DEFAULT_WIND_EXPONENT),
        np.where(enough, spread, exponent.DEFAULT_WIND_EXPONENT_UNCERTAINTY),
    )


def _density(
    trials: Columns, inputs: TrialInputs, wind_exponent: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return density exponents by the wind's, NaN without the generator's constants; and slopes."""
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
    """Return the wind sweep that counts of each build that has one.

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
    of_run = {name: np.asarray(trials[name])[trial[rows]] for name in
              ("build_id", "session_id", "started_at")}  # fmt: skip
    of_run |= {
        "load_ohm": load[trial[rows]],
        "wind_speed_m_s": inputs.wind_speed_m_s[trial[rows]],
        "reference_wind_speed_m_s": inputs.reference_wind_speed_m_s[trial[rows]],
        "power_w": power[rows],
    }
    builds = group_by(of_run["build_id"].astype(str))
    return [_sweep_of(of_run, np.flatnonzero(builds.codes == code)) for code in range(builds.size)]


def _sweep_of(of_run: dict[str, TextArray], rows: npt.NDArray[np.int64]) -> BuildSweep:
    """Return a build's newest sweep that can be used, or else its newest."""
    settings = {(of_run["started_at"][row], of_run["session_id"][row], of_run["load_ohm"][row])
                for row in rows}  # fmt: skip
    sweeps = [
        _fitted(
            of_run,
            rows[(of_run["session_id"][rows] == session) & (of_run["load_ohm"][rows] == load)],
        )
        for _, session, load in sorted(settings, reverse=True)
    ]
    return next((sweep for sweep in sweeps if not sweep.reason), sweeps[0])


def _fitted(of_run: dict[str, TextArray], rows: npt.NDArray[np.int64]) -> BuildSweep:
    first = rows[0]
    fit, reason = None, ""
    try:
        fit = fit_wind_exponent(
            of_run["wind_speed_m_s"][rows],
            of_run["power_w"][rows],
            float(of_run["reference_wind_speed_m_s"][first]),
        )
        reason = fit.reason
    except AnalysisError as unknown:
        reason = str(unknown)
    return BuildSweep(
        build_id=str(of_run["build_id"][first]),
        session_id=str(of_run["session_id"][first]),
        load_ohm=float(of_run["load_ohm"][first]),
        speeds=len(np.unique(of_run["wind_speed_m_s"][rows])),
        readings=len(rows),
        fit=fit,
        reason=reason,
    )
