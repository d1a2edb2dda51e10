"""Data checks: what looks wrong in a trial, in words for the person who measured it.

A rule is data; what it looks at is one pure function. A check never changes a number.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.columns import POWER_KINDS, FloatArray
from analysis.rotor import BETZ_LIMIT
from analysis.trial_inputs import Columns
from analysis.trial_result import TrialResults

Severity = Literal["block", "hold", "warn", "info"]

#: Range of ln P over three runs beyond which one of them is doubtful, and beyond which the trial
#: waits: 3.3 and 5 times a repeatability of 4 %; ISO 5725-6 critical range [memory].
RUNS_DISAGREE_WARN = 0.13
RUNS_DISAGREE_HOLD = 0.20
RANGE_COARSE_BELOW = 0.10  # [-], share of the meter's range


@dataclass(frozen=True, slots=True)
class Rule:
    """One check: its name, what it does to a trial, and its words."""

    name: str
    severity: Severity
    message: str
    advice: str


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that a trial breaks; `trial` is its position in the columns given."""

    trial: int
    rule: Rule


LOAD_NOT_STATED = Rule(
    "load_not_stated",
    "block",
    "Volts without the resistor do not give power. Was the resistor connected?",
    "Give load_ohm and load_connected = true, or change the kind to open_circuit.",
)
SUPERVISOR_MISSING = Rule(
    "supervisor_missing",
    "block",
    "An adult must be present at the fan.",
    "Note in the session that an adult was present; without one, do not test.",
)
METER_OVER_RANGE = Rule(
    "meter_over_range",
    "block",
    "The meter was over its range, so its number means nothing.",
    "Turn to a larger range and read again.",
)
IMPOSSIBLE_POWER = Rule(
    "impossible_power",
    "hold",
    "This is more power than the wind can give to any rotor. A unit is probably wrong.",
    "Check volts, ohms, wind speed and rotor diameter; correct them or say why they are right.",
)
METER_RANGE_COARSE = Rule(
    "meter_range_coarse",
    "warn",
    "The meter's range is more than ten times the reading, so the last digit matters too much.",
    "Turn to the smallest range that still shows a number, and repeat.",
)
RUNS_APART = Rule(
    "runs_disagree",
    "warn",
    "The runs of this trial lie further apart than they usually do.",
    "Did a blade slip, or did someone walk past the fan? Repeat the trial if you can.",
)
RUNS_FAR_APART = Rule(
    "runs_disagree",
    "hold",
    "One run lies far from the others, so their mean cannot be trusted yet.",
    "Look at each reading and at the blades' pitch; correct the odd one or repeat the trial.",
)

BLOCKING = (LOAD_NOT_STATED, SUPERVISOR_MISSING, METER_OVER_RANGE)

Where = Callable[[Columns, TrialResults], npt.NDArray[np.bool_]]


def impossible_power(trials: Columns, results: TrialResults) -> npt.NDArray[np.bool_]:
    """Return where power in the load exceeds the Betz limit of the wind.

    Parameters
    ----------
    trials, results : Columns, TrialResults
        Facts and results, shape (n,).

    Returns
    -------
    array of bool, shape (n,)
        True where the power coefficient is above 16/27.
    """
    return results.power_coefficient > BETZ_LIMIT


def meter_range_coarse(trials: Columns, results: TrialResults) -> npt.NDArray[np.bool_]:
    """Return where a reading uses less than a tenth of the meter's range.

    Parameters
    ----------
    trials, results : Columns, TrialResults
        Facts and results, shape (n,).

    Returns
    -------
    array of bool, shape (n,)
        True where the smallest voltage is below 10 % of the range.
    """
    meter_range: FloatArray = np.asarray(trials["meter_range_v"], dtype=np.float64)
    return results.smallest_voltage_v < RANGE_COARSE_BELOW * meter_range


def runs_apart(trials: Columns, results: TrialResults) -> npt.NDArray[np.bool_]:
    """Return where runs differ enough to mention, but not enough to wait.

    Parameters
    ----------
    trials, results : Columns, TrialResults
        Facts and results, shape (n,).

    Returns
    -------
    array of bool, shape (n,)
        True where the range of ln P is above 0.13 and at most 0.20.
    """
    spread = results.ln_power_range
    return (spread > RUNS_DISAGREE_WARN) & (spread <= RUNS_DISAGREE_HOLD)


def runs_far_apart(trials: Columns, results: TrialResults) -> npt.NDArray[np.bool_]:
    """Return where one run is so far from the others that the trial waits for an answer.

    Parameters
    ----------
    trials, results : Columns, TrialResults
        Facts and results, shape (n,).

    Returns
    -------
    array of bool, shape (n,)
        True where the range of ln P is above 0.20, also where one run gave nothing.
    """
    return results.ln_power_range > RUNS_DISAGREE_HOLD


CHECKS: tuple[tuple[Rule, Where], ...] = (
    (IMPOSSIBLE_POWER, impossible_power),
    (RUNS_FAR_APART, runs_far_apart),
    (RUNS_APART, runs_apart),
    (METER_RANGE_COARSE, meter_range_coarse),
)


def check_trials(trials: Columns, results: TrialResults) -> Iterator[Finding]:
    """Yield what the checks find, gravest rule first.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS`.
    results : TrialResults
        What `trial_results` made of them.

    Yields
    ------
    Finding
        A rule and the position of the trial that breaks it.
    """
    for rule, where in CHECKS:
        for trial in np.flatnonzero(where(trials, results)):
            yield Finding(int(trial), rule)


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
        Load as stated. [Ω]
    load_connected : bool or None
        Whether it was said that the load was connected.
    adult_present : bool
        Whether an adult was present at the fan.
    meter_range_v : float or None
        Range the meter was turned to. [V]
    voltages_v : sequence of float
        Every voltage read. [V]

    Returns
    -------
    list of Rule
        Rules of severity `block`; empty for a sound trial.

    Examples
    --------
    >>> [rule.name for rule in blocking_rules(kind="record", load_ohm=None, load_connected=None,
    ...     adult_present=True, meter_range_v=2.0, voltages_v=[2.0])]
    ['load_not_stated', 'meter_over_range']
    """
    needs_load = kind in POWER_KINDS
    over = meter_range_v is not None and any(abs(v) >= meter_range_v for v in voltages_v)
    broken = (
        needs_load and (load_ohm is None or load_connected is not True),
        not adult_present,
        over,
    )
    return [rule for rule, is_broken in zip(BLOCKING, broken, strict=True) if is_broken]
