"""All data checks together: what looks wrong, in words for the person who measured it.

A rule is data (`rules`); what it looks at is one function that yields what it finds. A check never
changes a number: at most it says which number was probably meant.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from analysis import (
    check_build,
    check_history,
    check_people,
    check_reference,
    check_session,
    check_trial,
)
from analysis.check_fixes import with_sound_fix
from analysis.check_view import Finding, Mask, View
from analysis.columns import POWER_KINDS
from analysis.rules import GRAVEST, RULES, Rule

Check = Callable[[View], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    check_trial.impossible_power,
    check_trial.unmeasurable_power,
    check_history.wind_unit_slip,
    check_history.volts_of_no_model,
    check_trial.kiloohm_slip,
    check_trial.load_slip,
    check_trial.diameter_slip,
    check_trial.pitch_from_axis,
    check_session.temperature_unit,
    check_session.humidity_fraction,
    check_history.voltage_unlike_before,
    check_trial.zero_volts,
    check_trial.runs_disagree,
    check_history.duplicate,
    check_trial.pitch_moved,
    check_trial.load_hot,
    check_session.bench_changed,
    check_session.wind_drifted,
    check_reference.reference_off,
    check_reference.no_reference,
    check_people.personal_data,
    check_trial.unlikely_power,
    check_trial.copied_runs,
    check_history.wrong_build,
    check_trial.meter_range_coarse,
    check_trial.load_differs,
    check_trial.volts_amperes_ohms,
    check_trial.too_few_runs,
    check_trial.not_steady,
    check_trial.short_run,
    check_trial.pitch_spread,
    check_trial.tip_speed_odd,
    check_trial.out_of_range_wind,
    check_trial.default_exponent,
    check_session.pressure,
    check_session.cold_fan,
    check_session.bench_wind,
    check_trial.rotor_wider_than_jet,
    check_trial.tunnel_blockage,
    check_session.stale_instrument,
    check_session.date_odd,
    check_build.mixed_change,
)
#: What looks only at trials that count, so that it comes after everything that holds one back.
LATER: tuple[Check, ...] = (
    check_history.jump,
    check_build.not_a_power_law,
    check_build.edge_optimum,
)


def check_trials(view: View) -> list[Finding]:
    """Return what the checks find in trials of whole benches, gravest first.

    Parameters
    ----------
    view : View
        `TRIAL_COLUMNS` and `CHECK_COLUMNS`, runs, results, and the moment of asking.

    Returns
    -------
    list of Finding
        A session's rule is found once, at its first trial. Nothing twice for one trial and rule.
    """
    found = _found(view, CHECKS)
    later = _found(view.holding(held_trials(view, found)), LATER)
    sound = [with_sound_fix(view, finding) for finding in (*found, *later)]
    return sorted(sound, key=lambda each: (each.trial, GRAVEST[each.rule.severity]))


def _found(view: View, checks: Iterable[Check]) -> list[Finding]:
    found: dict[tuple[int, str], Finding] = {}
    for check in checks:
        for finding in view.found_by(check):
            found.setdefault((finding.trial, finding.rule.name), finding)
    return list(found.values())


def held_trials(view: View, found: Iterable[Finding]) -> Mask:
    """Return which trials wait for an answer, to a `hold` of their own or of their session.

    Parameters
    ----------
    view : View
        The trials.
    found : iterable of Finding
        What the checks found in them.

    Returns
    -------
    array of bool
        False where what was found is confirmed.
    """
    waiting = [
        view.place(each)[0]
        for each in found
        if each.rule.severity == "hold" and not view.is_confirmed(each)
    ]
    return np.isin(view.text("trial_id"), waiting) | np.isin(view.text("session_id"), waiting)


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
        Whether the load was connected while the volts were read.
    adult_present : bool
        Whether an adult was at the fan.
    meter_range_v : float or None
        Range the meter was turned to. [V]
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
    over = meter_range_v is not None and any(abs(v) >= meter_range_v for v in voltages_v)
    broken = {
        "load_not_stated": needs_load and (load_ohm is None or load_connected is not True),
        "supervisor_missing": not adult_present,
        "meter_over_range": over,
    }
    return [RULES[name, "block"] for name, is_broken in broken.items() if is_broken]
