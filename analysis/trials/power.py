"""Calculate the power of each run and trial from the readings of runs."""

from dataclasses import dataclass

import numpy as np

from analysis import electrical
from analysis.columns import Columns, FloatArray, IntArray, first_known, numbers
from analysis.numeric.groups import Groups


@dataclass(frozen=True, slots=True)
class Runs:
    """Summary of each trial's runs; arrays with one value per trial."""

    power_w: FloatArray
    ln_power_range: FloatArray
    ln_power_sd: FloatArray
    count: FloatArray
    voltage_v: FloatArray
    largest_voltage_v: FloatArray
    smallest_voltage_v: FloatArray
    rotor_speed_rpm: FloatArray
    wind_speed_m_s: FloatArray


def reduce_runs(runs: Columns, load_ohm: FloatArray) -> Runs:
    """Return the geometric mean power and the spread of each trial's runs.

    Parameters
    ----------
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.
    load_ohm : array, shape (n,)
        Load of each trial; NaN where none was connected. [Ω]

    Returns
    -------
    Runs
        One value per trial.

    Notes
    -----
    The order of preference is a logger's mean square, volts with amperes, only volts, only
    amperes.

    Examples
    --------
    >>> missing = np.full(2, np.nan)
    >>> two = {"trial": np.array([0, 0]), "voltage_v": np.array([1.0, 2.0]),
    ...     "mean_square_voltage_v2": missing, "current_a": missing,
    ...     "rotor_speed_rpm": missing, "wind_speed_m_s": missing}
    >>> reduce_runs(two, np.array([1.0])).power_w.tolist()
    [2.0]
    """
    trial: IntArray = np.asarray(runs["trial"], dtype=np.int64)
    by_trial = Groups(np.arange(len(load_ohm)), trial)
    effective = np.sqrt(numbers(runs["mean_square_voltage_v2"]))
    voltage = first_known([np.abs(numbers(runs["voltage_v"])), effective])
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_power = np.log(run_power(runs, load_ohm[trial]))
        mean = by_trial.mean(ln_power)
        spread = by_trial.largest(ln_power) - by_trial.smallest(ln_power)
        scatter = by_trial.standard_deviation(ln_power)
    return Runs(
        power_w=np.exp(mean),
        ln_power_range=spread,
        ln_power_sd=scatter,
        count=by_trial.count(),
        voltage_v=by_trial.known_mean(voltage),
        largest_voltage_v=by_trial.largest(np.nan_to_num(voltage)),
        smallest_voltage_v=by_trial.smallest(np.where(np.isnan(voltage), np.inf, voltage)),
        rotor_speed_rpm=by_trial.known_mean(numbers(runs["rotor_speed_rpm"])),
        wind_speed_m_s=by_trial.known_mean(numbers(runs["wind_speed_m_s"])),
    )


def run_power(runs: Columns, load_ohm: FloatArray) -> FloatArray:
    """Return the power of each run, from the best of its readings.

    Parameters
    ----------
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.
    load_ohm : array, shape (r,)
        Load of each run. [Ω]

    Returns
    -------
    array, shape (r,)
        Power; NaN if no reading gives it. [W]

    Examples
    --------
    >>> nan = np.array([np.nan])
    >>> run_power({"voltage_v": np.array([1.2]), "current_a": nan,
    ...     "mean_square_voltage_v2": nan}, np.array([30.1])).round(5).tolist()
    [0.04784]
    """
    voltage, current = numbers(runs["voltage_v"]), numbers(runs["current_a"])
    choices = [
        numbers(runs["mean_square_voltage_v2"]) / load_ohm,
        np.abs(voltage * current),
        electrical.power_from_voltage(voltage, load_ohm),
        electrical.power_from_current(current, load_ohm),
    ]
    return first_known(choices)
