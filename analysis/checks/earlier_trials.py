"""Checks that compare a trial with earlier trials at the same bench.

Each check looks back only: the usual value follows from earlier trials that are not suspect.
"""

import math
from collections import defaultdict, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from statistics import median
from typing import Any

import numpy as np

from analysis.checks import unit_factors
from analysis.checks.decimal_slips import places_off
from analysis.checks.rules import Severity
from analysis.checks.trial import impossible_power, runs_disagree, unmeasurable_power
from analysis.checks.unit_factors import find_slip
from analysis.checks.unit_slips import kiloohm_slip, load_slip, millivolt_slip
from analysis.checks.view import Finding, Mask, View, findings, make_finding
from analysis.season.summary import RECORD

WINDS_REMEMBERED, LEAST_WINDS = 9, 3
WIND_TOLERANCE, VOLTAGE_TOLERANCE = 0.20, 0.075  # [-], standard deviation of ln value
REMEMBERED = 50  # trials of a build and load; the newest ones define the usual value
#: A shift by one place or more is recognised at about the same pitch, by two and three at any,
#: because no pitch costs a turning rotor so much power. Common practice, no source.
NEAR_PITCH_DEG, WITHIN_PLACES, ANY_PITCH_TOLERANCE = 1.5, 0.26, 0.70
LEAST_SHIFT = 10 * math.exp(-WITHIN_PLACES)  # a smaller factor is no shift by a place
SAME_PITCH_PLACES, ANY_PITCH_PLACES = (1, 2, 3, -1, -2, -3), (2, 3, -2, -3)
JUMP_UP, JUMP_DOWN = 1.60, 0.60  # [-], of the build before
#: What volts unlike earlier ones are called, once a cause is known or not.
VOLTAGE_RULES = ("millivolt_slip", "decimal_slip", "voltage_unlike_before")
RUN_AGAIN = ("reference", "event")  # kinds with one run each, which may repeat a reading
ALIKE = 0.02  # [-], of a pitch or a load


@dataclass(frozen=True, slots=True)
class _Suspect:
    """A value unlike earlier ones: its trial, the usual value, and the number of shifted places."""

    trial: int
    value: float
    usual: float
    places: int
    trials_before: int


def wind_unit_slip(view: View) -> Iterator[Finding]:
    """Yield wind speeds that are this bench's usual one in another unit.

    Parameters
    ----------
    view : View
        Trials of complete benches.

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
    flagged_benches: set[str] = set()
    settled, slipped = view.is_settled.tolist(), view.has_open_finding("wind_unit_slip").tolist()
    for trial in view.in_time.tolist():
        speed = speeds[trial]
        if not math.isfinite(speed) or slipped[trial]:
            continue
        if settled[trial]:
            before[benches[trial]].append(speed)
            continue
        bench = before[benches[trial]]
        is_known = len(bench) >= LEAST_WINDS or benches[trial] in flagged_benches
        usual = median(bench) if is_known else references[trial]
        finding = _wind_slipped(view, trial, usual)
        if finding is None or view.is_confirmed(finding):
            bench.append(speed)
        if finding is not None:
            if view.is_confirmed(finding):
                flagged_benches.add(benches[trial])
            yield finding


def _wind_slipped(view: View, trial: int, usual: float) -> Finding | None:
    """Return a finding if a wind is the usual one in another unit or with a slipped point."""
    speed = float(view.results.wind_speed_m_s[trial])
    slip = find_slip(speed, usual, WIND_TOLERANCE, unit_factors.WIND_UNITS)
    places = places_off(speed, usual, unit_factors.TOLERATED * WIND_TOLERANCE)
    if slip is not None:
        fixed, variant, unit = slip.meant, "unit", slip.unit
    elif places in (1, -1):
        fixed, variant, unit = speed * 10.0**-places, "place", ""
    else:
        return None
    return make_finding(
        trial, "wind_unit_slip", "hold", value=speed, usual=usual, variant=variant, unit=unit,
        fixed=fixed, fix=_wind_fix(view, trial, fixed / speed),
    )  # fmt: skip


def _wind_fix(view: View, trial: int, factor: float) -> dict[str, Any] | None:
    """Return the values that correct a wind speed, for the trial or session of the reading.

    A wind speed from a bench's grid is not a reading of the trial, so that no fix is proposed.
    """
    source = str(view.results.wind_speed_source[trial])
    if source == "session":
        ends = ("wind_speed_start_m_s", "wind_speed_end_m_s")
        typed = {name: view.number(name)[trial] for name in ends}
        return {"thing": "session", "changes": {
            name: round(float(value) * factor, 4) for name, value in typed.items()
            if np.isfinite(value)
        }}  # fmt: skip
    value = view.number("wind_speed_m_s")[trial]
    if np.isfinite(value):
        return {"thing": "trial", "changes": {"wind_speed_m_s": round(float(value) * factor, 4)}}
    winds = np.asarray(view.runs["wind_speed_m_s"], dtype=float)[view.run_numbers == trial]
    return {"thing": "trial", "scale_wind": factor} if np.isfinite(winds).all() else None


def voltage_unlike_before(view: View) -> Iterator[Finding]:
    """Yield volts unlike those of earlier trials of the same build, load and bench.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        Of `millivolt_slip` or `decimal_slip` if a shift by places explains them, however few
        earlier trials there are; otherwise of `voltage_unlike_before`, at the same pitch.
    """
    for suspect in _suspects(view):
        yield _finding_of(suspect)


def implausible_volts(view: View) -> Iterator[Finding]:
    """Yield volts that no model turbine gives, unless earlier trials explain them otherwise.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        Of `millivolt_slip`.
    """
    slipped = {each.trial for each in view.findings_of(voltage_unlike_before)
               if each.rule.name == "decimal_slip"}  # fmt: skip
    yield from (each for each in view.findings_of(millivolt_slip) if each.trial not in slipped)


def _finding_of(suspect: _Suspect) -> Finding:
    value, usual = suspect.value, suspect.usual
    if suspect.places:
        factor = 10.0**-suspect.places
        facts: dict[str, Any] = {"value": value, "usual": usual, "fixed": value * factor}
        fix = {"thing": "trial", "scale_volts": factor}
        if suspect.places == 3:
            return make_finding(suspect.trial, "millivolt_slip", "hold", fix=fix, **facts)
        variant = "one_of_two" if suspect.trials_before == 1 else "place"
        return make_finding(
            suspect.trial, "decimal_slip", "hold", fix=fix, variant=variant, **facts
        )
    severity: Severity = "hold" if suspect.trials_before > 1 else "warn"
    return make_finding(suspect.trial, "voltage_unlike_before", severity, value=value, usual=usual)


def _suspects(view: View) -> Iterator[_Suspect]:
    """Yield volts that do not follow from earlier trials of the same build, bench and load."""
    before: dict[tuple[str, ...], deque[_EarlierTrial]] = defaultdict(
        lambda: deque(maxlen=REMEMBERED)
    )
    volts, settings = np.sqrt(view.results.power_w * view.number("load_ohm")), _settings(view)
    suspect, pitches = held_by_own_numbers(view), view.number("pitch_deg").tolist()
    speed, reference = view.results.wind_speed_m_s, view.results.reference_wind_speed_m_s
    has_wind = np.isfinite(speed)
    with np.errstate(invalid="ignore", divide="ignore"):
        in_wind = np.where(has_wind, speed, reference) ** (-view.results.wind_exponent / 2)
        at_one_m_s = (volts * in_wind).tolist()
    settled, was_odd = view.is_settled.tolist(), view.has_open_finding(*VOLTAGE_RULES).tolist()
    for trial in view.in_time.tolist():
        setting, scaled = settings[trial], at_one_m_s[trial]
        if setting is None or not (math.isfinite(scaled) and scaled > 0) or was_odd[trial]:
            continue
        pitch = pitches[trial]
        now = _EarlierTrial(pitch, f"{pitch:.1f}", scaled, bool(has_wind[trial]))
        odd = None
        if not settled[trial]:
            odd = _odd(now, before[setting], trial, float(volts[trial]))
        if odd is not None:
            yield odd
            if not view.is_confirmed(_finding_of(odd)):
                continue
            # From this trial on, another value is usual.
            others = [each for each in before[setting] if each.pitch_as_read != now.pitch_as_read]
            before[setting] = deque(others, maxlen=REMEMBERED)
        if not suspect[trial]:
            before[setting].append(now)


@dataclass(frozen=True, slots=True)
class _EarlierTrial:
    """An earlier trial: pitch, volts scaled to 1 m/s, and whether the wind is known.

    Two trials have the same pitch if its text is equal, also if both are unknown.
    """

    pitch_deg: float
    pitch_as_read: str
    scaled: float
    has_wind: bool

    def is_near(self, other: "_EarlierTrial") -> bool:
        """Tell whether the other trial has about the same pitch, or one pitch is not known."""
        return not abs(self.pitch_deg - other.pitch_deg) > NEAR_PITCH_DEG


def _odd(
    now: _EarlierTrial, before: Iterable[_EarlierTrial], trial: int, value: float
) -> _Suspect | None:
    """Return a suspect if volts are unlike earlier ones: shifted, or different at equal pitch."""
    every = [each.scaled for each in before]
    # A median is between the smallest and the largest value: close to both, no shift is possible.
    if every and not max(every) / LEAST_SHIFT < now.scaled < min(every) * LEAST_SHIFT:
        near = [each.scaled for each in before if each.is_near(now)]
        for values, allowed, tolerance in (
            (near, SAME_PITCH_PLACES, WITHIN_PLACES),
            (every, ANY_PITCH_PLACES, ANY_PITCH_TOLERANCE),
        ):
            places = places_off(now.scaled, median(values), tolerance) if values else 0
            if places in allowed:
                usual = value * median(values) / now.scaled
                return _Suspect(trial, value, usual, places, len(values))
    if not (now.has_wind and math.isfinite(now.pitch_deg)):
        return None
    pitch = now.pitch_as_read
    alike = [each.scaled for each in before if each.pitch_as_read == pitch and each.has_wind]
    if alike:
        usual = median(alike)
        if abs(math.log(now.scaled / usual)) > unit_factors.TOLERATED * VOLTAGE_TOLERANCE:
            return _Suspect(trial, value, value * usual / now.scaled, 0, len(alike))
    return None


def held_by_own_numbers(view: View) -> Mask:
    """Return a mask of the trials that a check of their own numbers holds.

    These trials do not count for the usual values.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Returns
    -------
    array of bool
        False where the odd value is confirmed.
    """
    suspect = view.has_open_finding("wind_unit_slip")
    checks = (wind_unit_slip, impossible_power, unmeasurable_power, kiloohm_slip, load_slip,
              millivolt_slip, runs_disagree)  # fmt: skip
    for finding in chain.from_iterable(map(view.findings_of, checks)):
        holds = finding.rule.severity == "hold" and not view.is_confirmed(finding)
        suspect[finding.trial] |= holds
    return suspect


def _settings(view: View) -> list[tuple[str, ...] | None]:
    """Return build, bench and load of each trial: with equal pitch they give equal volts."""
    columns = (view.text("build_id"), view.text("bench_id"), view.number("load_ohm"))
    return [
        (build, bench, f"{ohms:.3g}") if math.isfinite(ohms) else None
        for build, bench, ohms in zip(*(column.tolist() for column in columns), strict=True)
    ]


def duplicate(view: View) -> Iterator[Finding]:
    """Yield trials whose setting and readings are those of an earlier one in the same session.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        For the later trial of each pair.
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
    """Return numbers with missing ones replaced, so that two missing numbers are equal."""
    plain: list[float] = np.nan_to_num(np.asarray(values, dtype=float), nan=-1.0).tolist()
    return plain


def wrong_build(view: View) -> Iterator[Finding]:
    """Yield trials with pitch and load of the build before or after, where this build's differ.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        Only for record trials: sweeps change the setting on purpose.
    """
    is_own = _is_set_as(view, "build")
    own_known = np.isfinite(view.number("build_pitch_deg") + view.number("build_load_ohm"))
    number = view.number("build_number")
    is_older, is_newer = _is_set_as(view, "previous"), _is_set_as(view, "next")
    where = view.kind(RECORD) & own_known & ~is_own & (is_older | is_newer)
    looks_like = np.where(is_newer, number + 1, number - 1)
    yield from findings(where, "wrong_build", "warn", value=looks_like)


def _is_set_as(view: View, which: str) -> Mask:
    """Return a mask of the trials with pitch and load of a build, within 2 %."""
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
        Trials of complete benches.

    Yields
    ------
    Finding
        Only if no change was noted.
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
