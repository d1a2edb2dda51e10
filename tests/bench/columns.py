"""Draw a season of any size as columns, quickly."""

from typing import Any

import numpy as np

from analysis.columns import RUN_COLUMNS, TEXT_COLUMNS, TRIAL_COLUMNS

#: Trials and teams of a club, a district (for growth), a region, a country.
SCALES = {"club": (3_000, 30), "district": (30_000, 300), "region": (100_000, 1_000),
          "country": (1_000_000, 10_000)}  # fmt: skip
WEEK_S, BUILDS, SESSIONS, TEAMS_OF_A_BENCH = 604_800.0, 5, 20, 5


def season_columns(trials: int, teams: int, seed: int = 2026) -> tuple[dict[str, Any], dict]:
    """Return trials and their runs, three to a trial, in the order of teams and weeks."""
    rng = np.random.default_rng(seed)
    team = np.sort(rng.integers(0, teams, trials))
    week = rng.integers(0, SESSIONS, trials)
    order = np.lexsort((week, team))
    team, week = team[order], week[order]
    bench = team // TEAMS_OF_A_BENCH
    build = np.minimum(week * BUILDS // SESSIONS, BUILDS - 1)
    ability = rng.normal(0.0, 0.3, teams)[team] + 0.08 * build
    columns: dict[str, Any] = dict.fromkeys(TRIAL_COLUMNS, np.full(trials, np.nan))
    columns |= dict.fromkeys(TEXT_COLUMNS, np.full(trials, "", dtype=object))
    columns |= {
        "trial_id": np.char.mod("trl_%09d", np.arange(trials)),
        "team_id": _words("team_%06d", team),
        "turbine_id": _words("turb_%06d", team),
        "build_id": _words("bld_%07d", team * BUILDS + build),
        "build_number": build + 1.0,
        "bench_id": _words("bch_%06d", bench),
        "session_id": _words("ses_%08d", bench * SESSIONS + week),
        "state": np.full(trials, "accepted", dtype=object),
        "kind": np.full(trials, "record", dtype=object),
        "started_at": 1.77e9 + WEEK_S * week,
        "load_ohm": np.full(trials, 30.1),
        "wind_speed_m_s": rng.normal(4.1, 0.1, trials),
        "anemometer_type": np.full(trials, "vane", dtype=object),
        "air_temperature_c": rng.normal(21.0, 1.5, trials),
        "pressure_hpa": rng.normal(950.0, 5.0, trials),
        "relative_humidity_pct": np.full(trials, 45.0),
        "rotor_diameter_m": np.full(trials, 0.45),
        "reference_wind_speed_m_s": np.full(trials, 4.0),
        "reference_air_density_kg_m3": np.full(trials, 1.225),
        "season_sweeps": np.zeros(trials),
    }
    return columns, _runs(trials, ability, columns["wind_speed_m_s"], rng)


def _words(form: str, number: np.ndarray) -> np.ndarray:
    """Return ids, the equal ones one object, as a service that merges its tables has them."""
    numbers, codes = np.unique(number, return_inverse=True)
    return np.array([form % each for each in numbers], dtype=object)[codes]


def _runs(trials: int, ability: Any, wind: Any, rng: np.random.Generator) -> dict[str, Any]:
    of_trial = np.repeat(np.arange(trials), 3)
    volts = 1.2 * np.exp(0.5 * ability + 1.3 * np.log(wind / 4.1))
    runs: dict[str, Any] = dict.fromkeys(RUN_COLUMNS, np.full(3 * trials, np.nan))
    scatter = np.exp(rng.normal(0.0, 0.02, 3 * trials))
    return runs | {"trial": of_trial, "voltage_v": volts[of_trial] * scatter}
