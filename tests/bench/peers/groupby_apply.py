"""Calculate the season's table with pandas: derive, group, and a slope by scipy for each team."""

import numpy as np
import pandas as pd
from scipy.stats import theilslopes

GAS_CONSTANT, VAPOUR_CONSTANT, ZERO_C = 287.05, 461.5, 273.15


def season_table(trials: pd.DataFrame, runs: pd.DataFrame) -> pd.DataFrame:
    """Return each team's current build, best trial and slope, by the plain way."""
    power = np.log(runs["voltage_v"] ** 2 / trials["load_ohm"].to_numpy()[runs["trial"]])
    trials = trials.assign(power_w=np.exp(power.groupby(runs["trial"]).mean()))
    kelvin = trials["air_temperature_c"] + ZERO_C
    vapour = 0.0000205 * np.exp(0.0631846 * kelvin) * trials["relative_humidity_pct"] / 100
    density = (100 * trials["pressure_hpa"] / GAS_CONSTANT
               - vapour * (1 / GAS_CONSTANT - 1 / VAPOUR_CONSTANT)) / kelvin  # fmt: skip
    trials = trials.assign(normalised=trials["power_w"] * (4.0 / trials["wind_speed_m_s"]) ** 2.6
                           * (1.225 / density) ** 0.5)  # fmt: skip
    return trials.groupby("team_id").apply(_team, include_groups=False)


def _team(trials: pd.DataFrame) -> pd.Series:
    sessions = trials.groupby("started_at")["normalised"].apply(lambda p: np.log(p).mean())
    weeks = sessions.index.to_numpy() / 604_800
    slope = theilslopes(sessions.to_numpy(), weeks)[0] if len(sessions) > 1 else np.nan
    newest = trials[trials["build_number"] == trials["build_number"].max()]
    return pd.Series({"typical": np.exp(np.log(newest["normalised"]).mean()),
                      "best": trials["normalised"].max(), "slope": slope})  # fmt: skip
