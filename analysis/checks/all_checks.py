"""Run all data checks on trials.

A rule is data (`rules`); a check is a function that yields findings of its rules. A check never
changes a number: at most it proposes the number that was probably meant.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from analysis.checks import (
    build,
    earlier_trials,
    personal_data,
    reference_rotor,
    session,
    trial,
    unit_slips,
)
from analysis.checks.fixes import with_sound_fix
from analysis.checks.rules import GRAVEST, RULES, Rule
from analysis.checks.view import Finding, Mask, View
from analysis.columns import POWER_KINDS

Check = Callable[[View], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    trial.impossible_power,
    trial.unmeasurable_power,
    earlier_trials.wind_unit_slip,
    earlier_trials.implausible_volts,
    unit_slips.kiloohm_slip,
    unit_slips.load_slip,
    unit_slips.diameter_slip,
    trial.pitch_from_axis,
    session.temperature_unit,
    session.humidity_fraction,
    earlier_trials.voltage_unlike_before,
    trial.zero_volts,
    trial.runs_disagree,
    earlier_trials.duplicate,
    trial.pitch_moved,
    trial.load_hot,
    session.bench_changed,
    session.wind_drifted,
    reference_rotor.reference_off,
    reference_rotor.no_reference,
    personal_data.personal_data,
    trial.unlikely_power,
    trial.copied_runs,
    earlier_trials.wrong_build,
    trial.meter_range_coarse,
    trial.load_differs,
    trial.volts_amperes_ohms,
    trial.too_few_runs,
    trial.not_steady,
    trial.short_run,
    trial.pitch_spread,
    trial.tip_speed_odd,
    trial.out_of_range_wind,
    trial.default_exponent,
    session.pressure,
    session.cold_fan,
    session.bench_wind,
    trial.rotor_wider_than_jet,
    trial.tunnel_blockage,
    session.stale_instrument,
    session.date_odd,
    build.mixed_change,
)
#: Checks that read only trials that count, so that they run after all checks that hold trials.
LATER: tuple[Check, ...] = (
    earlier_trials.jump,
    build.not_a_power_law,
    build.edge_optimum,
)


def check_trials(view: View) -> list[Finding]:
    """Return the findings of all checks in trials of complete benches, gravest first.

    Parameters
    ----------
    view : View
        `TRIAL_COLUMNS` and `CHECK_COLUMNS`, runs, results, and the present time.

    Returns
    -------
    list of Finding
        A session's rule has one finding, at its first trial; each trial has at most one of a rule.
    """
    first = findings_by(view, CHECKS)
    later = findings_by(view.holding(held_trials(view, first)), LATER)
    return sorted_findings(view, (*first, *later))


def sorted_findings(view: View, findings: Iterable[Finding]) -> list[Finding]:
    """Return findings by trial and gravest first, without fixes that are physically impossible."""
    sound = [with_sound_fix(view, finding) for finding in findings]
    return sorted(sound, key=lambda each: (each.trial, GRAVEST[each.rule.severity]))


def findings_by(view: View, checks: Iterable[Check]) -> list[Finding]:
    """Return the findings of some checks, at most one of a rule in each trial."""
    findings: dict[tuple[int, str], Finding] = {}
    for check in checks:
        for finding in view.findings_of(check):
            findings.setdefault((finding.trial, finding.rule.name), finding)
    return list(findings.values())


def held_trials(view: View, findings: Iterable[Finding]) -> Mask:
    """Return a mask of the trials that need an answer to a `hold` of theirs or of their session.

    Parameters
    ----------
    view : View
        The trials.
    findings : iterable of Finding
        Findings of the checks in them.

    Returns
    -------
    array of bool
        False where the findings are confirmed.
    """
    held_ids = [
        view.place(each)[0]
        for each in findings
        if each.rule.severity == "hold" and not view.is_confirmed(each)
    ]
    return np.isin(view.text("trial_id"), held_ids) | np.isin(view.text("session_id"), held_ids)


def blocking_rules(
    *,
    kind: str,
    load_ohm: float | None,
    load_connected: bool | None,
    adult_present: bool,
    meter_range_v: float | None,
    voltages_v: Sequence[float],
) -> list[Rule]:
    """Return the rules that forbid storing a trial.

    Parameters
    ----------
    kind : str
        Kind of trial.
    load_ohm : float or None
        Load resistance. [Ω]
    load_connected : bool or None
        Whether the load was connected while the voltage was read.
    adult_present : bool
        Whether an adult was at the fan.
    meter_range_v : float or None
        Range that was set on the meter. [V]
    voltages_v : sequence of float
        Readings. [V]

    Returns
    -------
    list of Rule
        Empty when the trial may be stored.

    Examples
    --------
    >>> rules = blocking_rules(kind="record", load_ohm=None, load_connected=None,
    ...     adult_present=True, meter_range_v=2.0, voltages_v=[1.2])
    >>> [rule.name for rule in rules]
    ['load_not_stated']
    """
    needs_load = kind in POWER_KINDS
    is_over = meter_range_v is not None and any(abs(v) >= meter_range_v for v in voltages_v)
    broken = {
        "load_not_stated": needs_load and (load_ohm is None or load_connected is not True),
        "supervisor_missing": not adult_present,
        "meter_over_range": is_over,
    }
    return [RULES[name, "block"] for name, is_broken in broken.items() if is_broken]
