"""How near anybody could come to the truth who knew how a scenario was drawn.

The best linear predictor of each build's ln power from all trials of a season, with the true second
moments of everything: no estimator that is linear in the readings has a smaller error on average.
"""

import numpy as np

from analysis.trials.results import TrialResults
from tests.bench.calibration.scenarios import Scenario
from tests.bench.calibration.seasons import Drawn

MEAN_GAIN = 0.03
FREE = 10.0


def best_predictor(
    of: Scenario, drawn: Drawn, results: TrialResults, sound: np.ndarray
) -> np.ndarray:
    """Return the best linear prediction of each current build's ln power, by the sound trials."""
    trials, results = drawn.trials[sound], results.only(sound)
    build, team = trials["build_id"].to_numpy(), trials["team_id"].to_numpy()
    owner = np.where(team == "", "rotor", team)
    bench, session = trials["bench_id"].to_numpy(), trials["session_id"].to_numpy()
    lever = -results.exponent_lever  # ln of the wind read over the reference
    mean_exponent, spread_exponent = _exponent(of)
    is_swept = np.isfinite(trials["sweep_exponent"].to_numpy(dtype=float))
    used = results.wind_exponent
    found = trials["sweep_exponent"].to_numpy(dtype=float)
    #: The oracle's estimate of each trial's exponent, and its uncertainty.
    own = spread_exponent**2 / (spread_exponent**2 + of.sweep_error**2)
    expected = np.where(
        is_swept, mean_exponent + own * (np.nan_to_num(found) - mean_exponent), mean_exponent
    )
    u_exponent = np.where(is_swept, spread_exponent * np.sqrt(1 - own), spread_exponent)
    y = np.log(results.normalised_power_w) - (expected - used) * lever
    labels = {"build": build, "owner": owner, "bench": bench, "session": session}
    same = {name: np.equal.outer(each, each) for name, each in labels.items()}
    density = results.ln_density_ratio
    covariance = (
        same["bench"] * (of.bench**2 + (mean_exponent * of.meter) ** 2)
        + (same["bench"] & same["owner"]) * (spread_exponent * of.meter) ** 2
        + same["session"] * of.session**2
        + (same["build"] & same["bench"]) * of.interaction**2
        + same["owner"] * np.outer(lever * u_exponent, lever * u_exponent)
        + same["owner"] * np.outer(density, density) * (0.8**2 / 12)
        + np.eye(len(y)) * (of.placement**2 + of.run**2 / of.runs + (2.6 * 0.1 / 4) ** 2 / 12)
        + FREE**2
    )
    names = sorted(set(build))
    prior, mean = _prior(of, names)
    at = {name: i for i, name in enumerate(names)}
    which = np.array([at[each] for each in build])
    gain = np.array([at[each] for each in drawn.current])
    total = prior[np.ix_(which, which)] + covariance
    moved = prior[np.ix_(gain, which)] @ np.linalg.solve(total, y - mean[which])
    predicted: np.ndarray = mean[gain] + moved
    return predicted


def _exponent(of: Scenario) -> tuple[float, float]:
    kind, one, other = of.exponents
    return ((one + other) / 2, (other - one) / 12**0.5) if kind == "uniform" else (one, other)


def _prior(of: Scenario, names: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Return the covariance of builds' ln powers and their means: a walk from build to build."""
    parts = [name.rsplit(" ", 1) for name in names]
    owner = np.array([part[0] for part in parts])
    number = np.array([float(part[1]) if len(part) > 1 else 1.0 for part in parts])
    shared = np.minimum.outer(number, number) - 1
    covariance = np.equal.outer(owner, owner) * (of.team**2 + shared * of.build**2)
    is_rotor = owner == "reference"
    covariance[is_rotor, is_rotor] = FREE**2
    return covariance, MEAN_GAIN * (number - 1)
