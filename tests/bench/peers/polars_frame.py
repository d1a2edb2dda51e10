"""Calculate the season's table with polars, on one thread."""

import os

os.environ.setdefault("POLARS_MAX_THREADS", "1")  # read when it is imported

import pandas as pd
import polars as pl

GAS_CONSTANT, VAPOUR_CONSTANT, ZERO_C, WEEK_S = 287.05, 461.5, 273.15, 604_800


def framed(trials: pd.DataFrame, runs: pd.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the season in frames of its own."""
    return tuple(  # type: ignore[return-value]  # two of them
        pl.DataFrame({name: frame[name].tolist() for name in frame}) for frame in (trials, runs)
    )


def season_table(trials: pl.DataFrame, runs: pl.DataFrame) -> pl.DataFrame:
    """Return each team's current build, best trial and slope."""
    power = (pl.col("voltage_v") ** 2 / pl.col("load_ohm")).log().mean().exp()
    powers = (
        runs.join(trials.select("trial", "load_ohm"), on="trial")
        .group_by("trial")
        .agg(power.alias("power_w"))
    )
    derived = trials.join(powers, on="trial").with_columns(
        normalised=pl.col("power_w")
        * (4.0 / pl.col("wind_speed_m_s")) ** 2.6
        * (1.225 / _density()) ** 0.5,
        newest=pl.col("build_number").max().over("team_id"),
    )
    ln_power = pl.col("normalised").log()
    teams = derived.group_by("team_id").agg(
        best=pl.col("normalised").max(),
        typical=ln_power.filter(pl.col("build_number") == pl.col("newest")).mean().exp(),
    )
    sessions = derived.group_by("team_id", "started_at").agg(typical=ln_power.mean())
    return teams.join(_slopes(sessions), on="team_id", how="left").sort("typical", descending=True)


def _density() -> pl.Expr:
    kelvin = pl.col("air_temperature_c") + ZERO_C
    vapour = 0.0000205 * (0.0631846 * kelvin).exp() * pl.col("relative_humidity_pct") / 100
    dry = 100 * pl.col("pressure_hpa") / GAS_CONSTANT
    return (dry - vapour * (1 / GAS_CONSTANT - 1 / VAPOUR_CONSTANT)) / kelvin


def _slopes(sessions: pl.DataFrame) -> pl.DataFrame:
    pairs = sessions.join(sessions, on="team_id", suffix="_b")
    rise = pl.col("typical_b") - pl.col("typical")
    weeks = (pl.col("started_at_b") - pl.col("started_at")) / WEEK_S
    later = pairs.filter(pl.col("started_at_b") > pl.col("started_at"))
    return later.group_by("team_id").agg(slope=(rise / weeks).median())
