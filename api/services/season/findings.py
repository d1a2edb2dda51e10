"""Evaluate a team's sweeps by build: best pitch, best load, wind exponent."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.errors import AnalysisError
from analysis.exponent import DEFAULT_WIND_EXPONENT, DEFAULT_WIND_EXPONENT_UNCERTAINTY, shrink
from analysis.generator import LoadSweep, fit_load_sweep
from analysis.pitch import PitchOptimum, find_optimum, next_pitch
from analysis.season.summary import are_usable
from analysis.trials.power import run_power
from analysis.trials.results import TrialResults
from analysis.trials.sweeps import ACCEPTED, BuildSweep, find_sweeps, season_prior
from analysis.uncertainty import COVERAGE_FACTOR
from api.messages.reasons import say_reason
from api.models.registry.builds import Build
from api.models.season.progress import LoadRead, PitchRead, WindRead
from api.services.core import wording
from api.services.measurements.frames import Array, Frame

#: The facts that the best pitch and the best load of a rotor depend on.
BLADES = ("rotor_diameter_m", "blade_count", "chord_root_m", "chord_tip_m", "material")


@dataclass(frozen=True, slots=True)
class Facts:
    """A team's trials with their results, and whether each counts."""

    frame: Frame
    results: TrialResults
    counted: Array


def find_pitch(facts: Facts, build: Build, builds: Sequence[Build]) -> PitchRead | None:
    """Return the result of a build's pitch sweep, or None without one."""
    pitch, power = _pitch_readings(facts, _swept(facts, build, "pitch"))
    if not pitch.size:
        return None
    further = next_pitch(pitch, power)
    try:
        optimum = find_optimum(pitch, power)
    except AnalysisError as unknown:
        read = _pitch_open(build, pitch.size, further, say_reason(str(unknown)))
    else:
        read = _pitch_found(build, optimum, further, is_stale=_is_stale(build, builds, "pitch"))
    return read.model_copy(update={"points": _points(pitch, power)})


def _points(at: Array, power: Array) -> tuple[tuple[float, float], ...]:
    """Return readings sorted along an axis."""
    return tuple(sorted((float(x), float(watts)) for x, watts in zip(at, power, strict=True)))


def _swept(facts: Facts, build: Build, kind: str) -> Array:
    """Return which trials belong to a build's counted sweep."""
    trials = facts.frame.trials
    is_in_sweep = (trials["build_id"] == build.id) & (trials["kind"] == kind)
    swept: Array = is_in_sweep & are_usable(trials, facts.results)
    return swept


def _is_stale(build: Build, builds: Sequence[Build], swept: str) -> bool:
    """Tell whether a later build of the turbine changed a fact that an optimum depends on."""
    fixed = (*BLADES, "load_ohm" if swept == "pitch" else "pitch_deg")
    later = [
        each
        for each in builds
        if each.turbine_id == build.turbine_id and each.number > build.number
    ]
    return any(
        any(getattr(each, name) != getattr(build, name) for name in fixed)
        or each.changed_factor not in (None, swept)
        for each in later
    )


def _pitch_readings(facts: Facts, swept: Array) -> tuple[Array, Array]:
    """Return pitch and normalised power of every run of a sweep whose pitch was noted."""
    trial = facts.frame.runs["trial"]
    load = facts.frame.trials["load_ohm"].astype(float)[trial]
    to_reference = facts.results.normalised_power_w / facts.results.power_w
    power = run_power(facts.frame.runs, load) * to_reference[trial]
    pitch = facts.frame.trials["pitch_deg"].astype(float)[trial]
    is_used = swept[trial] & np.isfinite(pitch) & (power > 0)
    return pitch[is_used], power[is_used]


def _pitch_open(build: Build, readings: int, further: float, reason: str) -> PitchRead:
    return PitchRead(
        build_id=build.id,
        number=build.number,
        readings=readings,
        status="open",
        bracketed=False,
        best_pitch_deg=None,
        u_deg=None,
        interval_deg=None,
        fieller_deg=None,
        plateau_deg=None,
        peak_power_w=None,
        next_pitch_deg=further,
        reason=reason,
        **wording.statement("pitch.open", number=build.number, reason=reason, next=further),
    )


def _pitch_found(
    build: Build, optimum: PitchOptimum, further: float, *, is_stale: bool
) -> PitchRead:
    (low, high), (least, most) = optimum.plateau_deg, optimum.interval_deg
    status = "stale" if is_stale else "rough" if optimum.lack_of_fit else "found"
    sentence = wording.statement(
        f"pitch.{status}", number=build.number, best=optimum.best_pitch_deg, low=low, high=high,
        least=least, most=most,
    )  # fmt: skip
    return PitchRead.model_validate(
        sentence
        | {
            "build_id": build.id,
            "number": build.number,
            "readings": optimum.readings,
            "status": status,
            "bracketed": optimum.bracketed,
            "best_pitch_deg": optimum.best_pitch_deg,
            "u_deg": optimum.u_deg,
            "interval_deg": optimum.interval_deg,
            "fieller_deg": optimum.fieller_deg,
            "plateau_deg": optimum.plateau_deg,
            "peak_power_w": optimum.peak_power_w,
            "next_pitch_deg": further,
            "reason": None,
        }
    )


def find_load(facts: Facts, build: Build, builds: Sequence[Build]) -> LoadRead | None:
    """Return the result of a build's load sweep, or None without one."""
    swept = _swept(facts, build, "load")
    if not swept.any():
        return None
    load = facts.frame.trials["load_ohm"][swept].astype(float)
    # Convert volts to the reference wind, so that the complete sweep has one wind.
    volts = np.sqrt(facts.results.normalised_power_w[swept] * load)
    try:
        sweep = fit_load_sweep(load, volts)
    except AnalysisError as unknown:
        read = _load_open(build, len(np.unique(load)), say_reason(str(unknown)))
    else:
        read = _load_found(
            build,
            sweep,
            is_stale=_is_stale(build, builds, "load"),
            is_beyond=not load.min() <= sweep.matched_load_ohm <= load.max(),
        )
    power = facts.results.normalised_power_w[swept]
    return read.model_copy(update={"points": _points(load, power)})


def _load_open(build: Build, loads: int, reason: str) -> LoadRead:
    return LoadRead(
        build_id=build.id,
        number=build.number,
        loads=loads,
        status="open",
        valid=False,
        source_voltage_v=None,
        source_resistance_ohm=None,
        u_resistance_ohm=None,
        matched_load_ohm=None,
        interval_ohm=None,
        max_power_w=None,
        reason=reason,
        **wording.statement("load.open", number=build.number, reason=reason),
    )


def _load_found(build: Build, sweep: LoadSweep, *, is_stale: bool, is_beyond: bool) -> LoadRead:
    status = "stale" if is_stale else "near_stall" if not sweep.valid else "found"
    if status == "found" and is_beyond:
        status = "beyond"
    best, reach = sweep.matched_load_ohm, COVERAGE_FACTOR * sweep.u_resistance_ohm
    sentence = wording.statement(f"load.{status}", number=build.number, best=best)
    by_line = {
        "source_voltage_v": sweep.source_voltage_v,
        "source_resistance_ohm": sweep.source_resistance_ohm,
        "u_resistance_ohm": sweep.u_resistance_ohm,
        "interval_ohm": (max(0.0, best - reach), best + reach),
    }
    return LoadRead.model_validate(
        sentence
        | {name: value if sweep.valid else None for name, value in by_line.items()}
        | {
            "build_id": build.id,
            "number": build.number,
            "loads": sweep.loads,
            "status": status,
            "valid": sweep.valid,
            "matched_load_ohm": best,
            "max_power_w": sweep.max_power_w,
            "reason": say_reason(sweep.reason) or None,
        }
    )


def find_wind(facts: Facts, builds: Sequence[Build]) -> list[WindRead]:
    """Return the results of the wind sweeps of builds."""
    trials = facts.frame.trials
    if not len(facts.frame):
        return []
    numbers = {build.id: build.number for build in builds}
    prior, u_prior = (float(each[0]) for each in season_prior(trials))
    reads = []
    for sweep in find_sweeps(trials, facts.frame.runs, facts.results):
        read = _wind_read(numbers[sweep.build_id], sweep, prior, u_prior)
        reads.append(read.model_copy(update={"points": _wind_points(facts, sweep)}))
    return reads


def _wind_points(facts: Facts, sweep: BuildSweep) -> tuple[tuple[float, float], ...]:
    """Return wind and power of each trial of a sweep."""
    trials, results = facts.frame.trials, facts.results
    is_in_sweep = (trials["build_id"] == sweep.build_id) & (
        trials["session_id"] == sweep.session_id
    )
    is_in_sweep &= (trials["kind"] == "wind") & (trials["state"] == ACCEPTED)
    is_in_sweep &= np.isfinite(results.wind_speed_m_s) & (results.power_w > 0)
    return _points(results.wind_speed_m_s[is_in_sweep], results.power_w[is_in_sweep])


def _wind_read(number: int, sweep: BuildSweep, prior: float, u_prior: float) -> WindRead:
    fit, is_used = sweep.fit, sweep.fit is not None and not sweep.reason
    used = shrink(fit.exponent, fit.standard_error, prior, u_prior) if fit and is_used else None
    status = "open" if used is None else "own" if fit and fit.is_power_law else "bent"
    reason = say_reason(sweep.reason)
    sentence = wording.statement(
        f"wind.{status}",
        number=number,
        reason=reason,
        exponent=used.exponent if used else 0.0,
        u=used.standard_error if used else 0.0,
        default=DEFAULT_WIND_EXPONENT,
        u_default=DEFAULT_WIND_EXPONENT_UNCERTAINTY,
    )
    return WindRead.model_validate(
        sentence
        | {
            "build_id": sweep.build_id,
            "number": number,
            "load_ohm": sweep.load_ohm,
            "readings": sweep.readings,
            "speeds": sweep.speeds,
            "status": status,
            "fitted_exponent": fit and fit.exponent,
            "fitted_standard_error": fit and fit.standard_error,
            "exponent": used and used.exponent,
            "u_exponent": used and used.standard_error,
            "curvature_t": fit and fit.curvature_t,
            "covers_m_s": fit and fit.covers_m_s,
            "reason": reason or None,
        }
    )
