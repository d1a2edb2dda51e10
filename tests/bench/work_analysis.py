"""Measure the analysis in memory: results, typical and best power, a trend for each team."""

import math
from collections.abc import Iterator

import numpy as np
import pandas as pd

from analysis.season.summary import summarise_teams
from analysis.trend import theil_sen_rows
from analysis.trials.results import power_results
from tests.bench.columns import SCALES, season_columns
from tests.bench.peers import duckdb_sql, groupby_apply, polars_frame
from tests.bench.timing import Row, interleaved

#: Columns of a trial that the peers read; ours gets all columns that the service passes.
PLAIN = ("team_id", "load_ohm", "wind_speed_m_s", "air_temperature_c", "pressure_hpa",
         "relative_humidity_pct", "build_number", "started_at")  # fmt: skip
MOST_FOR_PANDAS = 200_000  # of more, one round is enough to tell a factor of fifty


def ours(trials: dict, runs: dict) -> list[tuple]:
    """Return each team's current build with its uncertainty, its best trial and its slope."""
    teams = summarise_teams(trials, power_results(trials, runs))
    builds, sessions = teams.builds, teams.sessions
    newest = builds.figures.normalised_power_w[builds.order[builds.ends - 1]]
    ln_power = np.log(sessions.figures.normalised_power_w[sessions.order])
    slopes: list[float] = [math.nan] * len(teams)
    for at, values in _of_one_length(sessions.ends, ln_power):
        estimates = theil_sen_rows(
            np.broadcast_to(np.arange(values.shape[1]), values.shape), values
        )
        for team, slope in zip(at, estimates, strict=True):
            slopes[team] = slope.slope if slope else math.nan
    return list(zip(teams.team_ids.tolist(), newest.tolist(), teams.best_seen_w.tolist(), slopes,
                    strict=True))  # fmt: skip


def _of_one_length(ends: np.ndarray, values: np.ndarray) -> Iterator[tuple[list, np.ndarray]]:
    """Yield the teams with equally many sessions, and their values, a row each."""
    counts = np.diff(ends, prepend=0)
    for count in np.unique(counts):
        at = np.flatnonzero(counts == count)
        yield at.tolist(), values[ends[at][:, None] - count + np.arange(count)]


def rows(scale: str) -> Iterator[Row]:
    """Yield ours against one thread of DuckDB, and against groupby and apply."""
    trials, runs = season_columns(*SCALES[scale])
    plain = pd.DataFrame({name: trials[name] for name in PLAIN})
    plain_runs = pd.DataFrame({name: runs[name] for name in ("trial", "voltage_v")})
    numbered = plain.assign(trial=np.arange(len(plain)))
    database = duckdb_sql.connected(numbered, plain_runs)
    framed = polars_frame.framed(numbered, plain_runs)
    taken = interleaved({
        "ours": lambda: ours(trials, runs),
        "duckdb": lambda: duckdb_sql.season_table(database),
        "polars": lambda: polars_frame.season_table(*framed),
    })  # fmt: skip
    work = f"analysis in memory, {len(plain):,} trials"
    yield Row(work, taken["ours"], "DuckDB, one thread", taken["duckdb"], 1.25)
    yield Row(work, taken["ours"], "polars, one thread", taken["polars"], None)
    slow = 5 if len(plain) <= MOST_FOR_PANDAS else 1
    apply = interleaved({"peer": lambda: groupby_apply.season_table(plain, plain_runs)}, slow)
    yield Row(work, taken["ours"], "groupby.apply", apply["peer"], 50, at_least=True)
