"""Compute the results of trials from their inputs.

The same vectorised function serves a single new trial, a page of fifty and a
complete season, so that two answers cannot differ.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis import exponent, uncertainty, wind
from analysis.columns import RUN_COLUMNS, TRIAL_COLUMNS, Columns, FloatArray, TextArray
from analysis.numeric.lazy import first_words
from analysis.reasons import reason
from analysis.rotor import power_coefficient, tip_speed_ratio
from analysis.trials.inputs import TrialInputs, trial_inputs
from analysis.trials.sweeps import Exponents, used_exponents

#: Which formulas these are: raised with every change that moves a result, here or in what a result
#: is calculated from, so that what was kept of older ones is not taken for today's.
FORMULA = 3
U_REPEAT = 0.04  # [-], least scatter of one run of ln P; common practice, no source
AT_ONCE = 16_384  # trials
U_PLACEMENT = 0.02  # [-], of ln P: the tower put back in its place; common practice, no source
U_SESSION = 0.03  # [-], scatter of one session of ln P; common practice, no source


@dataclass(frozen=True, kw_only=True)
class PowerResults:
    """Results that a season's summaries need; one value per trial, NaN where not known."""

    normalised_power_w: FloatArray
    normalised_power_cubic_w: FloatArray
    is_out_of_range: npt.NDArray[np.bool_]
    wind_exponent: FloatArray
    u_wind_exponent: FloatArray
    u_density_exponent: FloatArray
    exponent_lever: FloatArray
    ln_density_ratio: FloatArray
    u_repeat: FloatArray
    u_bench: FloatArray
    u_total: FloatArray
    interval_low_w: FloatArray
    interval_high_w: FloatArray

    def powers(self) -> "PowerResults":
        """Return only these columns, so that the memory of the others can be freed."""
        return PowerResults(
            **{each.name: getattr(self, each.name) for each in fields(PowerResults)}
        )

    def only(self, which: npt.NDArray[Any]) -> "PowerResults":
        """Return the results of the selected trials."""
        return PowerResults(
            **{each.name: getattr(self, each.name)[which] for each in fields(PowerResults)}
        )

    @staticmethod
    def joined(parts: "Sequence[PowerResults]") -> "PowerResults":
        """Return the results of several parts, concatenated."""
        return PowerResults(
            **{
                each.name: np.concatenate([getattr(part, each.name) for part in parts])
                for each in fields(PowerResults)
            }
        )


@dataclass(frozen=True, kw_only=True)
class TrialResults(TrialInputs, PowerResults):
    """The result of each trial; arrays of one value per trial, NaN where it cannot be known.

    `reason` is the reason why `normalised_power_w` is not known, and is empty where it is.
    """

    wind_power_w: FloatArray
    power_coefficient: FloatArray
    tip_speed_ratio: FloatArray
    specific_power_w_m2: FloatArray
    density_exponent: FloatArray
    is_own_exponent: npt.NDArray[np.bool_]
    u_own: FloatArray
    normalisation: TextArray
    reason: TextArray


def trial_results(trials: Columns, runs: Columns) -> TrialResults:
    """Return the results of trials from their facts.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS`: a frame or a dict of arrays, NaN where a number is not known.
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.

    Returns
    -------
    TrialResults
        One value per trial.

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.2, applied to ln P, read at iso.org/sites/JCGM/GUM.
    .. [2] IEC 61400-12-1:2022, equation (12) for density, 9.1.3 for equivalent wind speed, as in
       `analysis.air` and `analysis.wind`.
    """
    inputs = trial_inputs(trials, runs)
    exponents = used_exponents(trials, inputs)
    status = exponent.normalisation_status(
        inputs.wind_speed_m_s / inputs.reference_wind_speed_m_s, exponents.is_own
    )
    why = _reason(inputs, status)
    is_known, is_out_of_range = why == "", status == exponent.OUT_OF_RANGE
    normalised, cubic = _normalised_powers(inputs, exponents, is_known)
    ln_wind = np.log(inputs.reference_wind_speed_m_s / inputs.wind_speed_m_s)
    ln_density = np.log(inputs.reference_air_density_kg_m3 / inputs.air_density_kg_m3)
    # An error of the wind exponent also shifts a density exponent that was calculated from it.
    lever = ln_wind + exponents.density_per_wind * ln_density
    u_repeat = np.maximum(U_REPEAT, inputs.ln_power_sd) / np.sqrt(inputs.run_count)
    u_own = uncertainty.own_uncertainty(
        u_repeat=u_repeat,
        u_session=np.full_like(u_repeat, U_SESSION),
        exponent_lever=lever,
        ln_density_ratio=ln_density,
        u_wind_exponent=exponents.u_wind,
        u_density_exponent=exponents.u_density,
    )
    u_bench = _bench_uncertainty(inputs, exponents)
    u_total = uncertainty.combine(u_own, u_bench)
    # Scatter above the usual was estimated from this trial's own few runs.
    u_seen = np.where(inputs.ln_power_sd > U_REPEAT, u_repeat, 0.0)
    factor = uncertainty.coverage_factor(u_total, u_seen, inputs.run_count - 1)
    low, high = uncertainty.interval(normalised, u_total, factor)
    density, speed, area = inputs.air_density_kg_m3, inputs.wind_speed_m_s, inputs.area_m2
    return TrialResults(
        **{field.name: getattr(inputs, field.name) for field in fields(inputs)},
        wind_power_w=wind.wind_power(density, area, speed),
        power_coefficient=power_coefficient(inputs.power_w, density, area, speed),
        tip_speed_ratio=tip_speed_ratio(inputs.rotor_speed_rpm, inputs.rotor_diameter_m, speed),
        specific_power_w_m2=normalised / area,
        normalised_power_w=normalised,
        normalised_power_cubic_w=cubic,
        wind_exponent=exponents.wind,
        density_exponent=exponents.density,
        u_wind_exponent=exponents.u_wind,
        u_density_exponent=exponents.u_density,
        is_own_exponent=exponents.is_own,
        exponent_lever=lever,
        ln_density_ratio=ln_density,
        u_repeat=u_repeat,
        u_own=u_own,
        u_bench=u_bench,
        u_total=u_total,
        interval_low_w=low,
        interval_high_w=high,
        is_out_of_range=is_out_of_range,
        normalisation=np.where(is_known | is_out_of_range, status, ""),
        reason=why,
    )


def power_results(trials: Columns, runs: Columns) -> PowerResults:
    """Return the results that summaries need, for a season of any size.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS`: a frame or a dict of arrays, NaN where a number is not known.
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run, in the order of their trials.

    Returns
    -------
    PowerResults
        One value per trial.

    Notes
    -----
    Computed for some ten thousand trials at a time, so that intermediate arrays stay in the
    processor's cache: with a million trials at once, most time goes into fetching memory.
    """
    columns = {name: np.asarray(trials[name]) for name in TRIAL_COLUMNS}
    run_columns = {name: np.asarray(runs[name]) for name in RUN_COLUMNS}
    count = len(columns["kind"])
    starts = range(0, max(count, 1), AT_ONCE)
    cuts = np.searchsorted(run_columns["trial"], [*starts, count])
    parts = []
    for start, first, last in zip(starts, cuts[:-1], cuts[1:], strict=True):
        part = {name: column[start : start + AT_ONCE] for name, column in columns.items()}
        part_runs = {name: column[first:last] for name, column in run_columns.items()}
        part_runs["trial"] = part_runs["trial"] - start
        parts.append(trial_results(part, part_runs).powers())
    return PowerResults.joined(parts)


def _reason(inputs: TrialInputs, status: TextArray) -> TextArray:
    """Return why a trial cannot be normalised; empty where it can."""
    low, high = exponent.BANDS[-1][1:]
    no_wind = inputs.wind_speed_source == ""
    return first_words(
        [
            ~inputs.is_power_kind,
            np.isnan(inputs.power_w),
            inputs.power_w == 0,
            no_wind & ~inputs.has_wind_meter,
            no_wind,
            status == exponent.OUT_OF_RANGE,
        ],
        [
            reason("no_load"),
            reason("power_not_known"),
            reason("run_without_power"),
            reason("no_wind_meter"),
            reason("wind_not_known"),
            reason("wind_out_of_range", low=low, high=high),
        ],
    )


def _normalised_powers(
    inputs: TrialInputs, exponents: Exponents, is_known: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Return normalised power and the textbook's cubic power; NaN where they are not known."""
    power = np.where(is_known, inputs.power_w, np.nan)
    speed, density = inputs.wind_speed_m_s, inputs.air_density_kg_m3
    normalised = exponent.normalise(
        power,
        speed,
        density,
        reference_wind_speed_m_s=inputs.reference_wind_speed_m_s,
        reference_air_density_kg_m3=inputs.reference_air_density_kg_m3,
        wind_exponent=exponents.wind,
        density_exponent=exponents.density,
    )
    cubic = exponent.textbook_cubic(
        power,
        speed,
        density,
        reference_wind_speed_m_s=inputs.reference_wind_speed_m_s,
        reference_air_density_kg_m3=inputs.reference_air_density_kg_m3,
    )
    return normalised, cubic


def _bench_uncertainty(inputs: TrialInputs, exponents: Exponents) -> FloatArray:
    """Return the part of each trial's uncertainty that all trials at its bench share."""
    return uncertainty.bench_uncertainty(
        u_voltage=inputs.u_voltage,
        u_load=inputs.u_load,
        u_wind_speed=inputs.u_wind_speed,
        u_air_density=inputs.u_air_density,
        wind_exponent=exponents.wind,
        density_exponent=exponents.density,
    )
