"""How near the fair comparison comes to the truth of invented seasons.

Usage: python -m tests.bench.fair_comparison [SEEDS]

Takes the seasons of demo_seed's parameters with seeds 1 to SEEDS (default 40), removes the labelled
mistakes, and compares each team's current build with what it truly is: root mean square error of
ln power about its mean, and Kendall's tau.
"""

import math
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import kendalltau

from analysis.columns import RUN_COLUMNS, TEXT_COLUMNS, TRIAL_COLUMNS
from analysis.comparison import fit_season
from analysis.trial_result import trial_results
from scripts.invented_season import Season, standard_pressure_hpa
from scripts.make_season import make

SEED_FOLDER = Path(__file__).parents[2] / "demo_seed"
KINDS = ("record", "reference")


def main(arguments: list[str]) -> None:
    """Print the table."""
    seeds = int(arguments[0]) if arguments else 40
    rows = [score(make(SEED_FOLDER, seed)) for seed in range(1, seeds + 1)]
    table = pd.DataFrame(rows)
    print(f"{seeds} seasons, mistakes removed: mean over seasons")
    print(f"{'method':28} {'RMSE ln P':>10} {'tau':>6}")
    for name in ("raw", "normalised", "season model"):
        rmse, tau = table[f"{name} rmse"].mean(), table[f"{name} tau"].mean()
        print(f"{name:28} {rmse:10.3f} {tau:6.2f}")
    print(
        f"pairs said 0.80 to 0.95 ahead: right {_share(table, 'likely'):.2f} "
        f"of {table['likely said'].sum()}, said {_mean_said(table):.2f} on average"
    )


def _share(table: pd.DataFrame, name: str) -> float:
    return float(table[f"{name} right"].sum() / max(1, table[f"{name} said"].sum()))


def _mean_said(table: pd.DataFrame) -> float:
    return float(table["likely sum"].sum() / max(1, table["likely said"].sum()))


def score(season: Season) -> dict[str, float]:
    """Return how near each method comes to a season's truth."""
    trials, runs = frames(season)
    results = trial_results(trials, runs)
    known = np.isfinite(results.normalised_power_w)
    trials = trials[known].reset_index(drop=True)
    ln_raw = np.log(results.power_w[known])
    ln_p = np.log(results.normalised_power_w[known])
    u = np.sqrt(
        results.u_repeat[known] ** 2
        + 0.02**2
        + (0.4 * results.exponent_lever[known]) ** 2
        + (0.3 * results.ln_density_ratio[known]) ** 2
    )
    fit = fit_season(
        {
            name: trials[name].to_numpy()
            for name in ("build_id", "team_id", "bench_id", "session_id")
        }
        | {"log_power": ln_p, "u_own": u}
    )
    truth, current = current_builds(season, set(fit.build_ids))
    record = trials["kind"] == "record"
    answer: dict[str, float] = {}
    for name, values in (("raw", ln_raw), ("normalised", ln_p)):
        means = pd.Series(values)[record].groupby(trials["build_id"][record]).mean()
        answer |= _score(name, np.array([means[build] for build in current]), truth)
    fair = np.array([fit.effects[build] for build in current])
    return answer | _score("season model", fair, truth) | _calibration(fit, current, fair, truth)


def _score(name: str, values: np.ndarray, truth: np.ndarray) -> dict[str, float]:
    off = values - truth
    return {
        f"{name} rmse": float(np.std(off)),
        f"{name} tau": float(kendalltau(values, truth).statistic),
    }


def _calibration(fit, current, fair, truth) -> dict[str, float]:
    """Return how many pairs were called probably ahead, and how many of those were right."""
    c = fit.covariance_of(current)
    said = right = total = 0.0
    for i in range(len(current)):
        for j in range(i):
            u = math.sqrt(c[i, i] + c[j, j] - 2 * c[i, j])
            p = 0.5 * math.erfc(-abs(fair[i] - fair[j]) / u / math.sqrt(2))
            if 0.80 <= p < 0.95:
                said, total = said + 1, total + p
                right += (fair[i] - fair[j]) * (truth[i] - truth[j]) > 0
    return {"likely said": said, "likely right": right, "likely sum": total}


def current_builds(season: Season, tested: set[str]) -> tuple[np.ndarray, list[str]]:
    """Return the newest tested build of each team, and its true ln power."""
    current, truth = [], []
    for team in season.teams:
        builds = [build for build in team.builds if f"{team.name}-{build.number}" in tested]
        if builds:
            current.append(f"{team.name}-{builds[-1].number}")
            truth.append(builds[-1].ln_power)
    return np.array(truth), current


def frames(season: Season) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the record and reference trials of a season as columns, mistakes removed."""
    trials, runs = [], []
    for sitting, trial in season.trials:
        volts = [v for i, v in enumerate(trial.volts) if i not in trial.run_mistakes]
        if trial.typed["kind"] not in KINDS or trial.mistakes or sitting.cold_fan or not volts:
            continue
        runs += [{"trial": len(trials), "voltage_v": v} for v in volts]
        trials.append(_row(sitting, trial))
    frame = pd.DataFrame(trials).reindex(
        columns=[*trials[0], *(name for name in TRIAL_COLUMNS if name not in trials[0])]
    )
    frame[[name for name in TEXT_COLUMNS if name not in trials[0]]] = ""
    return frame, pd.DataFrame(runs).reindex(columns=list(RUN_COLUMNS))


def _row(sitting, trial) -> dict:
    school, typed = sitting.school, trial.typed
    expected = standard_pressure_hpa(school["altitude_m"])
    pressure = sitting.typed["pressure_hpa"]
    is_local = pressure is not None and abs(pressure - expected) <= 25
    team = typed.get("team", "")
    return {
        "kind": typed["kind"],
        "team_id": team,
        "build_id": f"{team}-{typed['build']}" if team else "reference",
        "bench_id": school["name"],
        "session_id": f"{school['name']} {sitting.week}",
        "load_ohm": typed["load_ohm"],
        "wind_speed_m_s": typed["wind_speed_m_s"],
        "anemometer_type": "vane",
        "air_temperature_c": sitting.typed["air_temperature_c"],
        "pressure_hpa": pressure if is_local else math.nan,
        "relative_humidity_pct": sitting.typed["relative_humidity_pct"],
        "altitude_m": school["altitude_m"],
        "rotor_diameter_m": typed["rotor_diameter_m"],
        "gear_ratio": 1.0,
        "reference_wind_speed_m_s": 4.0,
        "reference_air_density_kg_m3": 1.225,
    }


if __name__ == "__main__":
    main(sys.argv[1:])
