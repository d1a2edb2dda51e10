"""Fit a season by statsmodels' mixed model: the same terms, an independent implementation."""

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf

KINDS = ("team", "build", "bench", "session", "interaction")


@dataclass(frozen=True)
class MixedModel:
    """Standard deviations of the terms, and differences of builds with their uncertainty."""

    spread: dict[str, float]
    effects: dict[str, float]
    #: Covariance of the effects of builds (with their teams), in the order of `effects`.
    covariance: np.ndarray

    def difference(self, one: str, other: str) -> tuple[float, float]:
        """Return the difference of two builds, and its standard uncertainty."""
        names = list(self.effects)
        i, j = names.index(one), names.index(other)
        c = self.covariance
        u = np.sqrt(c[i, i] + c[j, j] - 2 * c[i, j])
        return self.effects[one] - self.effects[other], float(u)


def mixed_model(trials: dict) -> MixedModel:
    """Return the restricted maximum likelihood fit of a season without a reference rotor's prior.

    The rotor is a fixed effect; its uncertainty is not part of differences between teams' builds.
    """
    frame = pd.DataFrame(trials).assign(one=1)
    frame["is_rotor"] = (frame["team_id"] == "").astype(float)
    frame["interaction"] = frame["build_id"] + "@" + frame["bench_id"]
    frame["team_id"] = frame["team_id"].where(frame["team_id"] != "", "none")
    formulas = {
        "team": "0 + C(team_id)", "build": "0 + C(build_id)", "bench": "0 + C(bench_id)",
        "session": "0 + C(session_id)", "interaction": "0 + C(interaction)",
    }  # fmt: skip
    model = smf.mixedlm(
        "log_power ~ is_rotor", frame, groups="one", re_formula="0", vc_formula=formulas
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a variance near zero
        fitted = model.fit(reml=True)
    spread = {name: float(np.sqrt(value)) for name, value in
              zip(model.exog_vc.names, fitted.vcomp, strict=True)}  # fmt: skip
    spread["residual"] = float(np.sqrt(fitted.scale))
    return _of(frame, fitted, spread)


def _of(frame: pd.DataFrame, fitted: object, spread: dict[str, float]) -> MixedModel:
    effects, covariance = fitted.random_effects[1], fitted.random_effects_cov[1]
    at = {name: i for i, name in enumerate(effects.index)}
    builds = frame[frame["team_id"] != "none"].groupby("build_id")["team_id"].first()
    pick = np.zeros((len(builds), len(effects)))
    for row, (build, team) in enumerate(builds.items()):
        pick[row, at[f"team[C(team_id)[{team}]]"]] = 1
        pick[row, at[f"build[C(build_id)[{build}]]"]] = 1
    values = pick @ effects.to_numpy()
    return MixedModel(
        spread, dict(zip(builds.index, values.tolist(), strict=True)),
        pick @ np.asarray(covariance) @ pick.T,
    )  # fmt: skip
