"""Checks that hold a trial against what came before it at the same bench.

Each looks back only: what is usual is told by earlier trials that were not doubted themselves.
"""

import math
from bisect import insort
from collections import defaultdict, deque
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from statistics import median
from typing import Any

import numpy as np

from analysis import unit_slips
from analysis.check_trial import (
    impossible_power,
    kiloohm_slip,
    millivolt_slip,
    runs_disagree,
)
from analysis.check_view import Finding, Mask, View, findings, one
from analysis.rules import Severity
from analysis.season import RECORD
from analysis.unit_slips import Slip, find_slip

WINDS_REMEMBERED, LEAST_WINDS = 9, 3
WIND_TOLERANCE, VOLTAGE_TOLERANCE = 0.20, 0.075  # [-], standard deviation of ln value
JUMP_UP, JUMP_DOWN = 1.60, 0.60  # [-], of the build before
RUN_AGAIN = ("reference", "event")  # kinds of one run each, which may well show the same twice
ALIKE = 0.02  # [-], of a pitch or a load


@dataclass(frozen=True, slots=True)
class _Doubted:
    """A value unlike what came before: where, what was usual, and what unit would explain it."""

    trial: int
    value: float
    usual: float
    slip: Slip | None
    trials_before: int


def wind_unit_slip(view: View) -> Iterator[Finding]:
    """Yield winds that are this bench's usual in another unit.

    Parameters
    ----------
    view : View
        Trials of whole benches.

    Yields
    ------
    Finding
        With the speed that was meant.
    """
    speeds, references = (
        view.results.wind_speed_m_s.tolist(),
        view.results.reference_wind_speed_m_s.tolist(),
    )
    benches = view.text("bench_id").tolist()
    before: dict[str, deque[float]] = defaultdict(lambda: deque(maxlen=WINDS_REMEMBERED))
    told: set[str] = set()
    for trial in view.in_time.tolist():
        speed = speeds[trial]
        if not math.isfinite(speed):
            continue
        bench = before[benches[trial]]
        is_known = len(bench) >= LEAST_WINDS or benches[trial] in told
        usual = median(bench) if is_known else references[trial]
        slip = find_slip(speed, usual, WIND_TOLERANCE, unit_slips.WIND_UNITS)
        finding = None if slip is None else _wind_slipped(view, trial, usual, slip)
        if finding is None or view.is_confirmed(finding):
            bench.append(speed)
        if finding is not None:
            if view.is_confirmed(finding):
                told.add(benches[trial])
            yield finding


def _wind_slipped(view: View, trial: int, usual: float, slip: Slip) -> Finding:
    speed = float(view.results.wind_speed_m_s[trial])
    return one(
        trial, "wind_unit_slip", "hold", value=speed, usual=usual, unit=slip.unit,
        fixed=slip.meant, fix=_wind_fix(view, trial, slip.meant / speed),
    )  # fmt: skip


def _wind_fix(view: View, trial: int, factor: float) -> dict[str, Any] | None:
    """Return the values that put a wind right, on the thing it was read for."""
    source = str(view.results.wind_speed_source[trial])
    if source == "session":
        ends = ("wind_speed_start_m_s", "wind_speed_end_m_s")
        typed = {name: view.number(name)[trial] for name in ends}
        return {"thing": "session", "changes": {
            name: round(float(value) * factor, 4) for name, value in typed.items()
            if np.isfinite(value)
        }}  # fmt: skip
    value = view.number("wind_speed_m_s")[trial]
    if not np.isfinite(value):
        return None  # the wind of its runs
    return {"thing": "trial", "changes": {"wind_speed_m_s": round(float(value) * factor, 4)}}


def voltage_unlike_before(view: View) -> Iterator[Finding]:
    """Yield volts unlike what the same build gave before at the same pitch, load and bench.

    Parameters
    ----------
    view : View
        Trials of whole benches.

    Yields
    ------
    Finding
        Of `millivolt_slip` where millivolts explain them, of `voltage_unlike_before` else.
    """
    for doubted in _volts_before(view):
        yield _unlike(doubted)


def _unlike(doubted: _Doubted) -> Finding:
    if doubted.slip is not None and doubted.slip.unit == "millivolts":
        return one(
            doubted.trial, "millivolt_slip", "hold", value=doubted.value, fixed=doubted.slip.meant,
            fix={"thing": "trial", "scale_volts": 1e-3},
        )  # fmt: skip
    severity: Severity = "hold" if doubted.trials_before > 1 else "warn"
    return one(
        doubted.trial, "voltage_unlike_before", severity, value=doubted.value, usual=doubted.usual
    )


def _volts_before(view: View) -> Iterator[_Doubted]:
    """Yield volts that do not follow from an earlier trial of the same setting."""
    before: dict[tuple[str, ...], list[float]] = defaultdict(list)
    volts, speed = (
        np.sqrt(view.results.power_w * view.number("load_ohm")),
        view.results.wind_speed_m_s,
    )
    settings, doubted = _settings(view), doubted_otherwise(view)
    with np.errstate(invalid="ignore", divide="ignore"):
        at_one_m_s = (volts * speed ** (-view.results.wind_exponent / 2)).tolist()
    for trial in view.in_time.tolist():
        scaled = at_one_m_s[trial]
        if not (math.isfinite(scaled) and scaled > 0) or settings[trial] is None:
            continue
        earlier = before[settings[trial]]
        if earlier:
            usual = median(earlier)
            slip = find_slip(scaled, usual, VOLTAGE_TOLERANCE, unit_slips.VOLTAGE_SLIPS)
            if slip or abs(math.log(scaled / usual)) > unit_slips.TOLERATED * VOLTAGE_TOLERANCE:
                value = float(volts[trial])
                meant = slip and Slip(slip.unit, value * slip.meant / scaled)
                odd = _Doubted(trial, value, value * usual / scaled, meant, len(earlier))
                yield odd
                if not view.is_confirmed(_unlike(odd)):
                    continue
                earlier.clear()  # from here on another value is usual
        if not doubted[trial]:
            insort(earlier, scaled)  # in order, so that each median costs one look along it


def doubted_otherwise(view: View) -> Mask:
    """Return which trials a check of their own numbers holds: they tell nothing of what is usual.

    Parameters
    ----------
    view : View
        Trials of whole benches.

    Returns
    -------
    array of bool
        False again where somebody confirmed what is odd.
    """
    doubted = np.zeros(len(view.in_time), dtype=bool)
    checks = (wind_unit_slip, impossible_power, kiloohm_slip, millivolt_slip, runs_disagree)
    for finding in chain.from_iterable(map(view.found_by, checks)):
        holds = finding.rule.severity == "hold" and not view.is_confirmed(finding)
        doubted[finding.trial] |= holds
    return doubted


def _settings(view: View) -> list[tuple[str, ...] | None]:
    """Return what must be alike of two trials for their volts to be alike."""
    columns = (view.text("build_id"), view.text("bench_id"), view.number("pitch_deg"),
               view.number("load_ohm"))  # fmt: skip
    return [
        (build, bench, f"{p:.1f}", f"{ohms:.3g}") if math.isfinite(p + ohms) else None
        for build, bench, p, ohms in zip(*(column.tolist() for column in columns), strict=True)
    ]


def duplicate(view: View) -> Iterator[Finding]:
    """Yield trials whose setting and readings are those of an earlier one in the same session.

    Parameters
    ----------
    view : View
        Trials of whole benches.

    Yields
    ------
    Finding
        The later one of each two.
    """
    readings: dict[int, list[tuple[float, ...]]] = defaultdict(list)
    of_runs = ("voltage_v", "mean_square_voltage_v2", "current_a", "rotor_speed_rpm")
    values = zip(*(_plain(view.runs[name]) for name in of_runs), strict=True)
    for trial, reading in zip(view.run_numbers.tolist(), values, strict=True):
        readings[trial].append(reading)
    names = (view.text(name).tolist() for name in ("session_id", "build_id", "kind"))
    setting = (_plain(view.number(name)) for name in ("pitch_deg", "load_ohm", "wind_speed_m_s"))
    settings, kinds = list(zip(*names, *setting, strict=True)), view.text("kind").tolist()
    seen: set[tuple[Any, ...]] = set()
    again = np.zeros(len(view.in_time), dtype=bool)
    for trial in np.argsort(view.text("trial_id"), kind="stable").tolist():
        key = (settings[trial], tuple(readings[trial]))
        again[trial] = key in seen and kinds[trial] not in RUN_AGAIN
        seen.add(key)
    yield from findings(again, "duplicate", "hold", value=view.results.largest_voltage_v)


def _plain(values: Any) -> list[float]:
    """Return numbers that equal each other where both are missing."""
    plain: list[float] = np.nan_to_num(np.asarray(values, dtype=float), nan=-1.0).tolist()
    return plain


def wrong_build(view: View) -> Iterator[Finding]:
    """Yield trials with pitch and load of the build before or after, where this build's differ.

    Parameters
    ----------
    view : View
        Trials of whole benches.

    Yields
    ------
    Finding
        Of record trials: sweeps change the setting on purpose.
    """
    is_own = _is_set_as(view, "build")
    own_known = np.isfinite(view.number("build_pitch_deg") + view.number("build_load_ohm"))
    number = view.number("build_number")
    is_older, is_newer = _is_set_as(view, "previous"), _is_set_as(view, "next")
    where = view.kind(RECORD) & own_known & ~is_own & (is_older | is_newer)
    looks_like = np.where(is_newer, number + 1, number - 1)
    yield from findings(where, "wrong_build", "warn", value=looks_like)


def _is_set_as(view: View, which: str) -> Mask:
    """Return which trials have pitch and load of a build, within 2 %."""
    alike = np.ones(len(view.in_time), dtype=bool)
    for name in ("pitch_deg", "load_ohm"):
        trial, build = view.number(name), view.number(f"{which}_{name}")
        with np.errstate(invalid="ignore"):
            alike &= np.abs(trial - build) <= ALIKE * np.maximum(1.0, np.abs(build))
    return alike


def jump(view: View) -> Iterator[Finding]:
    """Yield the first trial of a build that is far from the build before at the same bench.

    Parameters
    ----------
    view : View
        Trials of whole benches.

    Yields
    ------
    Finding
        Where no change was noted.
    """
    ln_power = np.log(view.results.normalised_power_w)
    counted = view.kind(RECORD) & (view.text("state") == "accepted") & np.isfinite(ln_power)
    by_build: dict[tuple[str, str, float], list[int]] = defaultdict(list)
    names = zip(view.text("turbine_id"), view.text("bench_id"), view.number("build_number"),
                strict=True)  # fmt: skip
    keys = list(names)
    for trial in view.in_time:
        if counted[trial]:
            by_build[keys[trial]].append(int(trial))
    where = np.zeros(len(keys), dtype=bool)
    change = np.zeros(len(keys))
    for (turbine, bench, number), rows in by_build.items():
        before = by_build.get((turbine, bench, number - 1))
        if before and not str(view.trials["changed_factor"][rows[0]]):
            ratio = float(np.exp(ln_power[rows[0]] - np.mean(ln_power[before])))
            where[rows[0]] = not JUMP_DOWN <= ratio <= JUMP_UP
            change[rows[0]] = 100 * (ratio - 1)
    yield from findings(where, "jump", "warn", value=change)
