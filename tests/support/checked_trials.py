"""Invented trials that differ from a sound one by a few facts, and what the checks find in them."""

import math

import pandas as pd

from analysis.checks.all_checks import check_trials
from analysis.checks.view import View
from analysis.columns import CHECK_COLUMNS, CHECK_RUN_COLUMNS, CHECK_TEXT_COLUMNS, RUN_COLUMNS
from analysis.trials.results import trial_results
from api.services.measurements.flag_words import facts_of, words_of
from tests.support.trial_columns import trials_frame

DAY = 86_400.0
PLAIN = {
    "state": "accepted", "build_id": "b1", "turbine_id": "t", "session_id": "s", "bench_id": "x",
    "started_at": 0.0, "build_number": 1.0, "season_starts_at": -1e12, "season_ends_at": 1e12,
    "pitch_deg": 12.0, "build_pitch_deg": 12.0, "build_load_ohm": 30.1, "changed_factor": "pitch",
    "volts": (1.2, 1.19, 1.21), "warm_up_min": 8.0,
}  # fmt: skip
#: A reference run in the same session, so that none is missed.
REFERENCE = {"kind": "reference", "build_id": "ref", "turbine_id": "r", "volts": (1.31, 1.3, 1.3)}


def view_of(*rows, now=math.inf, confirmed=None):
    """Return trials that differ from the worked one by these facts, as the checks see them."""
    whole = [PLAIN | row | {"trial_id": f"{at:03d}"} for at, row in enumerate(rows)]
    frame = trials_frame(*whole)
    for name in CHECK_COLUMNS:
        empty = "" if name in CHECK_TEXT_COLUMNS else math.nan
        frame[name] = [row.get(name, empty) for row in whole]
    runs = []
    for at, row in enumerate(whole):
        for each in row["volts"]:
            run = each if isinstance(each, dict) else {"voltage_v": each}
            runs.append(run | {"trial": at})
    run_frame = pd.DataFrame(runs).reindex(columns=[*RUN_COLUMNS, *CHECK_RUN_COLUMNS])
    results = trial_results(frame, run_frame)
    return View(frame, run_frame, results, now=now, confirmed=confirmed or {})


def check(*rows, now=math.inf, confirmed=None):
    """Return what the checks find in such trials."""
    return check_trials(view_of(*rows, now=now, confirmed=confirmed))


def words(finding):
    """Return the sentences in which a finding is shown."""
    return words_of(finding.rule.name, finding.rule.severity, facts_of(finding))


def found(*rows, at=None, now=math.inf, confirmed=None):
    """Return rule and severity of what is found, at one of the trials or at all."""
    return {
        (finding.rule.name, finding.rule.severity)
        for finding in check(*rows, now=now, confirmed=confirmed)
        if at is None or finding.trial == at
    }


def finding_of(*rows, rule, at=0):
    """Return the one finding of a rule in one of the trials."""
    (one,) = [each for each in check(*rows) if each.rule.name == rule and each.trial == at]
    return one


def session_on(day, **changed):
    """Return a trial of a session on that day."""
    return {"session_id": f"s{day}", "started_at": day * DAY, **changed}
