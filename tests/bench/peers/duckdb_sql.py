"""Calculate the season's table in one statement of SQL, in memory, on one thread."""

import duckdb
import pandas as pd

TABLE = """
WITH power AS (
    SELECT runs.trial, exp(avg(ln(runs.voltage_v * runs.voltage_v / trials.load_ohm))) AS power_w
    FROM runs JOIN trials ON trials.trial = runs.trial GROUP BY runs.trial),
derived AS (
    SELECT trials.*, power_w * pow(4.0 / wind_speed_m_s, 2.6) * pow(1.225 / (
        (100 * pressure_hpa / 287.05 - 0.0000205 * exp(0.0631846 * (air_temperature_c + 273.15))
         * relative_humidity_pct / 100 * (1 / 287.05 - 1 / 461.5)) / (air_temperature_c + 273.15)
        ), 0.5) AS normalised
    FROM trials JOIN power ON power.trial = trials.trial),
session AS (
    SELECT team_id, started_at / 604800 AS week, avg(ln(normalised)) AS typical
    FROM derived GROUP BY team_id, started_at),
slope AS (
    SELECT a.team_id, median((b.typical - a.typical) / (b.week - a.week)) AS slope
    FROM session a JOIN session b ON a.team_id = b.team_id AND a.week < b.week GROUP BY a.team_id),
newest AS (SELECT team_id, max(build_number) AS build_number FROM derived GROUP BY team_id),
team AS (
    SELECT derived.team_id, max(normalised) AS best,
        exp(avg(ln(normalised)) FILTER (derived.build_number = newest.build_number)) AS typical
    FROM derived JOIN newest ON newest.team_id = derived.team_id GROUP BY derived.team_id)
SELECT team.team_id, typical, best, slope
FROM team LEFT JOIN slope ON slope.team_id = team.team_id ORDER BY typical DESC
"""


def connected(trials: pd.DataFrame, runs: pd.DataFrame) -> duckdb.DuckDBPyConnection:
    """Return a database in memory with the season in tables of its own."""
    database = duckdb.connect(config={"threads": 1})
    database.register("trials_frame", trials)
    database.register("runs_frame", runs)
    database.execute("CREATE TABLE trials AS SELECT * FROM trials_frame")
    database.execute("CREATE TABLE runs AS SELECT * FROM runs_frame")
    return database


def season_table(database: duckdb.DuckDBPyConnection) -> list[tuple]:
    """Return each team's current build, best trial and slope."""
    return database.execute(TABLE).fetchall()
