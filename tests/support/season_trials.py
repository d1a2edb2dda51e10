"""Build trials of teams at the reference wind and air, and summarise their season."""

import pandas as pd

from analysis.season.summary import summarise_teams
from analysis.trials.results import trial_results
from tests.support.trial_columns import runs_frame, trials_frame

DAY = 86_400.0


def season(*trials):
    """Return a frame of trials at the reference wind and air, whose volts across 1 Ω are given."""
    facts = [
        {"load_ohm": 1.0, "wind_speed_start_m_s": 4.0, "reference_air_density_kg_m3": 1.116132,
         "kind": trial.get("kind", "record")} | trial.get("facts", {})
        for trial in trials
    ]  # fmt: skip
    frame = trials_frame(*facts)
    defaults = {"team_id": "t", "turbine_id": "w", "build_id": "b1", "build_number": 1,
                "session_id": "s1",
                "bench_id": "x", "state": "accepted", "started_at": 0.0}  # fmt: skip
    for name, value in defaults.items():
        frame[name] = [trial.get(name, value) for trial in trials]
    frame["trial_id"] = [f"trial {i}" for i in range(len(trials))]
    runs = pd.concat(
        runs_frame(*([trial["volts"]] * trial.get("runs", 1)), trial=i)
        for i, trial in enumerate(trials)
    )
    return frame, trial_results(frame, runs)


def only_team(*trials):
    (team,) = summarise_teams(*season(*trials))
    return team
