"""Checks of the reference rotor's runs: whether a bench has changed, and when it last ran there."""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from analysis.checks.earlier_trials import held_by_own_numbers
from analysis.checks.rules import Severity
from analysis.checks.view import Finding, View, findings, make_finding
from analysis.columns import FloatArray, TextArray

WARN, HOLD = 0.12, 0.18  # [-], of ln power: two and three times its usual scatter of 0.06
LEAST_BEFORE = 2  # sessions, before there is a usual value
DAYS, SECONDS_A_DAY = 14.0, 86_400.0


def reference_off(view: View) -> Iterator[Finding]:
    """Yield sessions whose reference run differs from this bench's usual one.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        One per session, for the rotor with the largest difference. After a session in which it was
        confirmed, the new power is usual.
    """
    ln_power = np.log(view.results.normalised_power_w)
    is_reference = view.kind("reference") & np.isfinite(ln_power) & ~held_by_own_numbers(view)
    usual: dict[tuple[str, str], list[float]] = defaultdict(list)
    builds, benches = view.text("build_id"), view.text("bench_id")
    for rows in _sessions(view):
        rotor_rows = rows[is_reference[rows]]
        odd = [
            finding
            for build in dict.fromkeys(builds[rotor_rows])
            if (mine := rotor_rows[builds[rotor_rows] == build]).size
            and (finding := _compare(view, rows, ln_power[mine], usual[benches[rows[0]], build]))
        ]
        yield from sorted(odd, key=lambda each: -abs(float(each.seen)))[:1]


def _compare(view: View, rows: TextArray, now: FloatArray, before: list[float]) -> Finding | None:
    """Return the finding about a session's runs of one rotor, and update the usual values."""
    value = float(np.mean(now))
    off = value - float(np.median(before)) if len(before) >= LEAST_BEFORE else 0.0
    finding = _off(int(rows.min()), off)
    if finding is not None and view.is_confirmed(finding):
        before.clear()
    elif finding is not None and finding.rule.severity == "hold":
        return finding
    before.append(value)
    return finding


def _off(trial: int, off: float) -> Finding | None:
    if abs(off) <= WARN:
        return None
    severity: Severity = "hold" if abs(off) > HOLD else "warn"
    return make_finding(trial, "reference_off", severity, value=100 * float(np.expm1(off)))


def no_reference(view: View) -> Iterator[Finding]:
    """Yield sessions at a bench where the reference rotor has not run for two weeks.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        One per session.
    """
    has_run = view.kind("reference") & np.isfinite(view.results.normalised_power_w)
    latest: dict[str, float] = {}
    missing = np.zeros(len(has_run), dtype=bool)
    for rows in _sessions(view):
        bench, started = view.text("bench_id")[rows[0]], float(view.number("started_at")[rows[0]])
        if has_run[rows].any():
            latest[bench] = started
        age_days = (started - latest.get(bench, -np.inf)) / SECONDS_A_DAY
        missing[rows.min()] = age_days > DAYS
    yield from findings(missing, "no_reference", "warn")


def _sessions(view: View) -> Iterator[TextArray]:
    """Yield the positions of each session's trials, in the order the sessions were held."""
    sessions = view.text("session_id")
    by_session: dict[str, list[int]] = defaultdict(list)
    for trial in view.in_time:
        by_session[sessions[trial]].append(int(trial))
    for rows in by_session.values():
        yield np.array(rows)
