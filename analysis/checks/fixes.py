"""Withdraw proposed fixes that are physically impossible."""

from dataclasses import replace
from typing import Any

from analysis.checks.trial import TIP_SPEEDS
from analysis.checks.view import Finding, View
from analysis.rotor import BETZ_LIMIT

WINDS = ("wind_speed_m_s", "wind_speed_start_m_s", "wind_speed_end_m_s")


def with_sound_fix(view: View, finding: Finding) -> Finding:
    """Return a finding, with its fix withdrawn if the fixed value is physically impossible.

    Parameters
    ----------
    view : View
        The trials.
    finding : Finding
        Finding in one of them.

    Returns
    -------
    Finding
        The same, or without its fix: if the proposed wind, volts or ohms make the power
        coefficient exceed 16/27 (Betz 1920), or put a counted rotor speed outside the tip-speed
        ratios of a model.
    """
    if finding.fix is None or _is_possible(view, finding.trial, finding.fix):
        return finding
    return replace(finding, fix=None, is_fix_withdrawn=True)


def _is_possible(view: View, trial: int, fix: dict[str, Any]) -> bool:
    wind, power = _factors(view, trial, fix)
    coefficient = view.results.power_coefficient[trial] * power / wind**3
    tip_speed = view.results.tip_speed_ratio[trial] / wind
    is_counted = view.results.rotor_speed_source[trial] == "measured" and wind != 1.0
    slowest, fastest = TIP_SPEEDS
    is_odd = is_counted and (tip_speed < slowest or tip_speed > fastest)
    return not (coefficient > BETZ_LIMIT or is_odd)


def _factors(view: View, trial: int, fix: dict[str, Any]) -> tuple[float, float]:
    """Return the factors by which a fix changes wind speed and power."""
    if "scale_volts" in fix:
        runs = view.results.run_count[trial] if "run" in fix else 1
        return 1.0, float(fix["scale_volts"]) ** (2 / runs)
    if "scale_wind" in fix:
        return float(fix["scale_wind"]), 1.0
    changes: dict[str, float] = fix["changes"]
    winds = [changes[name] / view.number(name)[trial] for name in WINDS if name in changes]
    ohms = changes.get("load_ohm")
    power = 1.0 if ohms is None else view.number("load_ohm")[trial] / ohms
    return (float(winds[0]) if winds else 1.0), float(power)
