"""Build trials that differ from a worked one in a few facts, and run the data checks on them."""

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
#: A reference run in the same session, so that the check for a missing one finds nothing.
REFERENCE = {"kind": "reference", "build_id": "ref", "turbine_id": "r", "volts": (1.31, 1.3, 1.3)}


def view_of(*rows, now=math.inf, confirmed=None):
    """Return the view for the checks of trials that differ from the worked one in these facts."""
    rows_of_facts = [PLAIN | row | {"trial_id": f"{at:03d}"} for at, row in enumerate(rows)]
    frame = trials_frame(*rows_of_facts)
    for name in CHECK_COLUMNS:
        empty = "" if name in CHECK_TEXT_COLUMNS else math.nan
        frame[name] = [row.get(name, empty) for row in rows_of_facts]
    runs = []
    for at, row in enumerate(rows_of_facts):
        for each in row["volts"]:
            run = each if isinstance(each, dict) else {"voltage_v": each}
            runs.append(run | {"trial": at})
    run_frame = pd.DataFrame(runs).reindex(columns=[*RUN_COLUMNS, *CHECK_RUN_COLUMNS])
    results = trial_results(frame, run_frame)
    return View(frame, run_frame, results, now=now, confirmed=confirmed or {})


def check(*rows, now=math.inf, confirmed=None):
    """Return the findings of the checks in such trials."""
    return check_trials(view_of(*rows, now=now, confirmed=confirmed))


def words(finding):
    """Return the sentences that show a finding."""
    return words_of(finding.rule.name, finding.rule.severity, facts_of(finding))


def broken_rules(*rows, at=None, now=math.inf, confirmed=None):
    """Return rule and severity of the findings, in one of the trials or in all."""
    return {
        (finding.rule.name, finding.rule.severity)
        for finding in check(*rows, now=now, confirmed=confirmed)
        if at is None or finding.trial == at
    }


def finding_of(*rows, rule, at=0):
    """Return the only finding of a rule in one of the trials."""
    (finding,) = [each for each in check(*rows) if each.rule.name == rule and each.trial == at]
    return finding


def session_on(day, **changed):
    """Return a trial of a session on that day."""
    return {"session_id": f"s{day}", "started_at": day * DAY, **changed}
