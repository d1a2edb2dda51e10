"""Checks of one trial by itself: its numbers, its setting, its meter and its load."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from analysis.checks.decimal_slips import LEAST_V, MOST_V, slipped_reading
from analysis.checks.view import Finding, Mask, View, findings, make_finding
from analysis.exponent import OUT_OF_RANGE
from analysis.rotor import BETZ_LIMIT
from analysis.season.summary import RECORD

UNLIKELY_POWER_COEFFICIENT = 0.25  # [-]
#: Range of ln P over runs above which the check warns, and above which it holds the trial: 3.3 and
#: 5 times a repeatability of 4 %. Three readings differ by more than 3.3 times it in one case of
#: twenty: the critical range of ISO 5725 (1994), as BRE's formulae for aggregate tests give it;
#: clause not checked. The 5 is this project's.
RUNS_WARN, RUNS_HOLD = 0.13, 0.20
ALIKE = 1.02  # [-], of the largest reading to the smallest
MOST_APART = 9.2  # [-], of ln P: a factor of ten thousand, if a run gave nothing
RANGE_COARSE_BELOW = 0.10  # [-], share of the meter's range
STEEPEST_DEG = 50.0  # [°], of a model turbine
LEAST_POWER_W = 1e-6  # [W], of a trial that gave anything: 5 mV across 22 Ω
HALF_RATED, WITHIN = 0.5, 0.05  # [-]
FINE_RESOLUTION = 0.005  # [-], of the reading; coarser meters may well show equal readings
TIP_SPEEDS = (0.7, 6.5)  # [-]
SPREAD_DEG, MOVED_DEG = 4.0, 2.0  # [°]
SHORT_S, LEAST_RUNS = 15.0, 3
STEADY_VARIATION, STEADY_DRIFT = 0.10, 0.02  # [-]
JET, TUNNEL = 0.8, 0.15  # [-], of the fan's diameter, of the tunnel's section


def impossible_power(view: View) -> Iterator[Finding]:
    """Yield trials whose power in the load exceeds the Betz limit of the wind."""
    coefficient = view.results.power_coefficient
    where = coefficient > BETZ_LIMIT
    yield from findings(where, "impossible_power", "hold", value=coefficient)


def unlikely_power(view: View) -> Iterator[Finding]:
    """Yield trials whose power coefficient is very high for a model."""
    coefficient = view.results.power_coefficient
    where = (coefficient > UNLIKELY_POWER_COEFFICIENT) & (coefficient <= BETZ_LIMIT)
    yield from findings(where, "unlikely_power", "warn", value=coefficient)


def unmeasurable_power(view: View) -> Iterator[Finding]:
    """Yield trials with less power than any usual meter range shows; a rotor at rest gives none."""
    power = view.results.power_w
    for trial in np.flatnonzero((power > 0) & (power < LEAST_POWER_W)).tolist():
        volts = float(view.results.largest_voltage_v[trial])
        is_unit = volts < LEAST_V <= 1000 * volts <= MOST_V
        yield make_finding(
            trial, "unmeasurable_power", "hold", value=1e6 * float(power[trial]),
            variant="unit" if is_unit else "unclear", volts=volts, fits=1000 * volts,
            fix={"thing": "trial", "scale_volts": 1000.0} if is_unit else None,
        )  # fmt: skip


def runs_disagree(view: View) -> Iterator[Finding]:
    """Yield trials whose runs disagree, also if one run gave nothing."""
    spread = view.results.ln_power_range
    ratio = np.exp(np.minimum(spread, MOST_APART))
    for trial in np.flatnonzero(spread > RUNS_HOLD).tolist():
        yield _apart(view, trial, float(ratio[trial]))
    warned = (spread > RUNS_WARN) & (spread <= RUNS_HOLD)
    yield from findings(warned, "runs_disagree", "warn", value=100 * (ratio - 1))


def _apart(view: View, trial: int, ratio: float) -> Finding:
    """Return the finding that the runs of a trial disagree, with a slipped decimal point if any.

    `odd` is the outlier, `others` are the other readings.
    """
    volts = [abs(each) for each in view.voltages_of(trial)]
    if not max(volts) > ALIKE * min(volts):  # equal volts, so the amperes differ
        return make_finding(trial, "runs_disagree", "hold", value=ratio, variant="power")
    slipped = slipped_reading(volts)
    usual = float(np.median(volts))
    odd = slipped.position if slipped else max(
        range(len(volts)), key=lambda at: abs(math.log(max(volts[at], 1e-6) / max(usual, 1e-6)))
    )  # fmt: skip
    facts: dict[str, Any] = {
        "odd": volts[odd],
        "others": [each for at, each in enumerate(volts) if at != odd],
    }
    if slipped is None:
        return make_finding(trial, "runs_disagree", "hold", value=ratio, variant="volts", **facts)
    is_wrong = slipped.factor < 1 or slipped.factor == 1000
    return make_finding(
        trial, "runs_disagree", "hold", value=ratio, variant="wrong" if is_wrong else "missing",
        fits=volts[odd] * slipped.factor, **facts,
        fix={"thing": "trial", "scale_volts": slipped.factor, "run": odd + 1},
    )  # fmt: skip


def pitch_from_axis(view: View) -> Iterator[Finding]:
    """Yield pitches so steep that they were probably measured from the shaft."""
    pitch = view.number("pitch_deg")
    fixed = 90 - pitch
    yield from findings(
        pitch > STEEPEST_DEG, "pitch_from_axis", "hold", value=pitch, fixed=fixed,
        fix=lambda at: {"thing": "trial", "changes": {"pitch_deg": round(float(fixed[at]), 2)}},
    )  # fmt: skip


def zero_volts(view: View) -> Iterator[Finding]:
    """Yield trials in which the rotor turned and gave no volts."""
    counted = np.asarray(view.runs["rotor_speed_rpm"], dtype=float) > 0
    turned = np.zeros(len(view.in_time), dtype=bool)
    np.logical_or.at(turned, view.run_numbers, counted)
    meter_range = np.where(
        np.isnan(view.number("meter_range_v")), 2.0, view.number("meter_range_v")
    )
    nothing = view.results.largest_voltage_v < 2 * meter_range / 2000
    where = turned & nothing & view.results.is_power_kind
    yield from findings(where, "zero_volts", "hold", value=view.results.rotor_speed_rpm)


def meter_range_coarse(view: View) -> Iterator[Finding]:
    """Yield readings that use less than a tenth of the meter's range."""
    least = RANGE_COARSE_BELOW * view.number("meter_range_v")
    yield from findings(view.results.smallest_voltage_v < least, "meter_range_coarse", "warn")


def load_hot(view: View) -> Iterator[Finding]:
    """Yield resistors with more than half of their rated power."""
    share = view.results.power_w / view.number("rated_power_w")
    yield from findings(share > 1, "load_hot", "hold", value=100 * share)
    yield from findings((share > HALF_RATED) & (share <= 1), "load_hot", "warn", value=100 * share)


def load_differs(view: View) -> Iterator[Finding]:
    """Yield loads that differ from the recorded resistance of their resistor."""
    load, record = view.number("load_ohm"), view.number("load_record_ohm")
    where = np.abs(load / record - 1) > WITHIN
    yield from findings(where, "load_differs", "warn", value=load, usual=record)


def volts_amperes_ohms(view: View) -> Iterator[Finding]:
    """Yield trials whose ratio of volts to amperes is not the load."""
    volts = np.abs(np.asarray(view.runs["voltage_v"], dtype=float))
    amperes = np.abs(np.asarray(view.runs["current_a"], dtype=float))
    load = view.number("load_ohm")
    trial = view.run_numbers
    with np.errstate(divide="ignore", invalid="ignore"):
        ohms = volts / amperes
        off = np.isfinite(ohms) & (np.abs(ohms / load[trial] - 1) > WITHIN)
    measured_ohm = np.full(len(load), np.nan)
    odd = np.zeros(len(load), dtype=bool)
    odd[trial[off]], measured_ohm[trial[off]] = True, ohms[off]
    yield from findings(odd, "volts_amperes_ohms", "warn", value=measured_ohm, usual=load)


def too_few_runs(view: View) -> Iterator[Finding]:
    """Yield record trials of one or two runs."""
    runs = view.results.run_count
    where = view.kind(RECORD) & (runs < LEAST_RUNS)
    yield from findings(where, "too_few_runs", "warn", value=runs)


def copied_runs(view: View) -> Iterator[Finding]:
    """Yield trials whose runs are equal to the last digit, although the meter's steps are fine."""
    counts = np.where(np.isnan(view.number("meter_counts")), 1999.0, view.number("meter_counts"))
    largest, smallest = view.results.largest_voltage_v, view.results.smallest_voltage_v
    resolution = view.number("meter_range_v") / (counts + 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        is_fine = resolution / largest < FINE_RESOLUTION
    runs = view.results.run_count
    alike = (largest == smallest) & (largest > 0) & (runs >= LEAST_RUNS)
    yield from findings(alike & is_fine, "copied_runs", "warn", value=runs)


def not_steady(view: View) -> Iterator[Finding]:
    """Yield trials with a logged series that drifts, jumps or varies too much."""
    parts = {
        name: np.asarray(view.runs[name], dtype=float)
        for name in ("series_variation", "series_drift", "series_block_variation")
    }
    odd = (
        (parts["series_variation"] > STEADY_VARIATION)
        | (np.abs(parts["series_drift"]) > STEADY_DRIFT)
        | (parts["series_block_variation"] > STEADY_DRIFT)
    )
    where = np.zeros(len(view.in_time), dtype=bool)
    where[view.run_numbers[odd]] = True
    yield from findings(where, "not_steady", "warn")


def short_run(view: View) -> Iterator[Finding]:
    """Yield trials with a run too short for gusts to average out."""
    duration = np.asarray(view.runs["duration_s"], dtype=float)
    shortest = np.full(len(view.in_time), np.inf)
    np.fmin.at(shortest, view.run_numbers, np.where(np.isnan(duration), np.inf, duration))
    yield from findings(shortest < SHORT_S, "short_run", "warn", value=shortest)


def pitch_spread(view: View) -> Iterator[Finding]:
    """Yield trials whose blades have different pitches."""
    spread = view.number("blade_pitch_range_deg")
    yield from findings(spread > SPREAD_DEG, "pitch_spread", "warn", value=spread)


def pitch_moved(view: View) -> Iterator[Finding]:
    """Yield pitches that moved during the trial."""
    moved = np.abs(view.number("pitch_after_deg") - view.number("pitch_deg"))
    yield from findings(moved > MOVED_DEG, "pitch_moved", "hold", value=moved)


def tip_speed_odd(view: View) -> Iterator[Finding]:
    """Yield rotor speeds that do not fit the wind."""
    ratio = view.results.tip_speed_ratio
    low, high = TIP_SPEEDS
    where = (view.results.rotor_speed_source == "measured") & ((ratio < low) | (ratio > high))
    yield from findings(where & (ratio > 0), "tip_speed_odd", "warn", value=ratio)


def out_of_range_wind(view: View) -> Iterator[Finding]:
    """Yield trials in wind too far from the season's reference, except wind sweeps."""
    reference = view.results.reference_wind_speed_m_s
    where = (view.results.normalisation == OUT_OF_RANGE) & ~view.kind("wind")
    ratio = view.results.wind_speed_m_s / reference
    yield from findings(where, "out_of_range_wind", "warn", value=ratio, usual=reference)


def default_exponent(view: View) -> Iterator[Finding]:
    """Yield the first trial of a build whose power is only provisionally normalised."""
    where = (view.results.normalisation == "provisional") & ~view.kind("wind", "reference")
    yield from findings(once_a_build(view, where), "default_exponent", "warn")


def once_a_build(view: View, where: Mask) -> Mask:
    """Return a mask of the first trial of each build at each bench, among those in a mask.

    By bench, because benches are checked separately and together, with the same result.
    """
    rows = np.flatnonzero(where)
    _, first = np.unique(view.build_at_bench[rows], return_index=True)
    once = np.zeros(len(where), dtype=bool)
    once[rows[first]] = True
    return once


def rotor_wider_than_jet(view: View) -> Iterator[Finding]:
    """Yield builds whose tips are outside the fan's wind, once each."""
    share = view.number("rotor_diameter_m") / view.number("fan_diameter_m")
    where = once_a_build(view, (share > JET) & np.isnan(view.number("tunnel_area_m2")))
    yield from findings(where, "rotor_wider_than_jet", "warn", value=share)


def tunnel_blockage(view: View) -> Iterator[Finding]:
    """Yield builds that fill too much of a tunnel, once each."""
    share = view.results.area_m2 / view.number("tunnel_area_m2")
    where = once_a_build(view, share > TUNNEL)
    yield from findings(where, "tunnel_blockage", "warn", value=100 * share)
