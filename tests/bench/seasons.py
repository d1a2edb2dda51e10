"""Invented seasons as the columns that `analysis` reads, with the labelled mistakes taken out."""

import math
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.columns import RUN_COLUMNS, TEXT_COLUMNS, TRIAL_COLUMNS
from analysis.trials.inputs import trial_inputs
from analysis.trials.sweeps import find_sweeps
from scripts.invented_season import Season, standard_pressure_hpa

SEED_FOLDER = Path(__file__).parents[2] / "demo_seed"


def clean_frames(
    season: Season, kinds: tuple[str, ...], *, own_exponents: bool = False
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the trials of these kinds and their runs, with fitted wind sweeps if asked for."""
    trials, runs = _frames(season, kinds)
    if own_exponents:
        swept, swept_runs = _frames(season, ("wind",))
        columns = {name: swept[name].to_numpy() for name in swept}
        run_columns = {name: swept_runs[name].to_numpy() for name in swept_runs}
        sweeps = find_sweeps(columns, run_columns, trial_inputs(columns, run_columns))
        _fill_in(trials, [sweep for sweep in sweeps if sweep.fit and not sweep.reason])
    return trials, runs


def _fill_in(trials: pd.DataFrame, sweeps: list) -> None:
    """Add the results of sweeps to the trials of their builds, as the service does."""
    for name, value in (
        ("sweep_exponent", lambda fit: fit.exponent),
        ("sweep_standard_error", lambda fit: fit.standard_error),
        ("sweep_slowest_m_s", lambda fit: fit.covers_m_s[0]),
        ("sweep_fastest_m_s", lambda fit: fit.covers_m_s[1]),
    ):
        trials[name] = trials["build_id"].map({s.build_id: value(s.fit) for s in sweeps})
    exponent = np.array([sweep.fit.exponent for sweep in sweeps])
    error = np.array([sweep.fit.standard_error for sweep in sweeps])
    trials["season_sweeps"] = float(len(sweeps))
    if sweeps:
        trials["season_mean_exponent"] = exponent.mean()
        trials["season_mean_square_exponent"] = np.mean(exponent**2)
        trials["season_mean_square_error"] = np.mean(error**2)


def _frames(season: Season, kinds: tuple[str, ...]) -> tuple[pd.DataFrame, pd.DataFrame]:
    trials, runs = [], []
    for session, trial in season.trials:
        volts = [v for i, v in enumerate(trial.volts) if i not in trial.run_mistakes]
        if trial.typed["kind"] not in kinds or trial.mistakes or session.cold_fan or not volts:
            continue
        runs += [{"trial": len(trials), "voltage_v": v} for v in volts]
        trials.append(_row(session, trial))
    frame = pd.DataFrame(trials).reindex(
        columns=[*trials[0], *(name for name in TRIAL_COLUMNS if name not in trials[0])]
    )
    frame[[name for name in TEXT_COLUMNS if name not in trials[0]]] = ""
    return frame, pd.DataFrame(runs).reindex(columns=list(RUN_COLUMNS))


def _row(session, trial) -> dict:
    school, typed = session.school, trial.typed
    expected = standard_pressure_hpa(school["altitude_m"])
    pressure = session.typed["pressure_hpa"]
    is_local = pressure is not None and abs(pressure - expected) <= 25
    team = typed.get("team", "")
    return {
        "kind": typed["kind"],
        "state": "accepted",
        "team_id": team,
        "build_id": f"{team}-{typed['build']}" if team else "reference",
        "bench_id": school["name"],
        "session_id": f"{school['name']} {session.week}",
        "started_at": session.started_at.timestamp(),
        "load_ohm": typed["load_ohm"],
        "wind_speed_m_s": typed["wind_speed_m_s"],
        "anemometer_type": "vane",
        "air_temperature_c": session.typed["air_temperature_c"],
        "pressure_hpa": pressure if is_local else math.nan,
        "relative_humidity_pct": session.typed["relative_humidity_pct"],
        "altitude_m": school["altitude_m"],
        "rotor_diameter_m": typed["rotor_diameter_m"],
        "gear_ratio": 1.0,
        "reference_wind_speed_m_s": 4.0,
        "reference_air_density_kg_m3": 1.225,
    }


def current_builds(season: Season, tested: set[str]) -> tuple[np.ndarray, list[str], list]:
    """Return the newest tested build of each team: its true ln power, its name, and its team."""
    current, truth, teams = [], [], []
    for team in season.teams:
        builds = [build for build in team.builds if f"{team.name}-{build.number}" in tested]
        if builds:
            current.append(f"{team.name}-{builds[-1].number}")
            truth.append(builds[-1].ln_power)
            teams.append(team)
    return np.array(truth), current, teams
