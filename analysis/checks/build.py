"""Checks of a build's sweeps and changes."""

import re
from collections.abc import Iterator

import numpy as np

from analysis.checks.trial import once_a_build
from analysis.checks.view import Finding, View, findings
from analysis.errors import AnalysisError
from analysis.exponent import IMPLAUSIBLE
from analysis.pitch import next_pitch
from analysis.season.summary import are_usable
from analysis.trials.sweeps import find_sweeps

SEVERAL = re.compile(r"\b(?:and|und|et|y)\b|[,;+&/]")


def not_a_power_law(view: View) -> Iterator[Finding]:
    """Yield the last trial of a wind sweep that is curved, or whose exponent is not plausible."""
    last = np.zeros(len(view.in_time), dtype=bool)
    swept = view.kind("wind") & (view.text("state") == "accepted")
    for sweep in find_sweeps(view.trials, view.runs, view.results):
        implausible = sweep.fit is not None and sweep.reason.startswith(IMPLAUSIBLE)
        if sweep.fit is not None and (implausible or not sweep.fit.is_power_law):
            mine = swept & (view.text("build_id") == sweep.build_id)
            mine &= view.text("session_id") == sweep.session_id
            last[np.flatnonzero(mine)[-1:]] = True
    yield from findings(last, "not_a_power_law", "warn")


def edge_optimum(view: View) -> Iterator[Finding]:
    """Yield the last trial of a pitch sweep whose best is at an end, with the pitch to try next."""
    swept = view.kind("pitch") & are_usable(view.trials, view.results)
    swept &= np.isfinite(view.number("pitch_deg"))
    last, further = np.zeros(len(swept), dtype=bool), np.zeros(len(swept))
    builds = view.build_at_bench
    for build in dict.fromkeys(builds[swept].tolist()):
        rows = np.flatnonzero(swept & (builds == build))
        pitch = view.number("pitch_deg")[rows]
        power = view.results.normalised_power_w[rows]
        best = pitch[np.argmax(power)]
        if len(np.unique(pitch)) > 2 and best in (pitch.min(), pitch.max()):
            last[rows[-1]] = True
            further[rows[-1]] = _further(pitch, power)
    yield from findings(last, "edge_optimum", "info", fixed=further)


def _further(pitch: np.ndarray, power: np.ndarray) -> float:
    try:
        return next_pitch(pitch, power)
    except AnalysisError:
        return float(pitch[np.argmax(power)])


def mixed_change(view: View) -> Iterator[Finding]:
    """Yield the first trial of a build in which several things changed."""
    factor = view.text("changed_factor")
    several = np.array([bool(SEVERAL.search(each)) for each in factor], dtype=bool)
    where = once_a_build(view, np.ones(len(factor), dtype=bool)) & several
    yield from findings(where, "mixed_change", "info", words=list(factor))
