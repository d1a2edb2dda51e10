"""Measure how close the fair comparison and the forecast are to the truth of invented seasons.

Usage: python -m tests.bench.fair_comparison [SEEDS]

Takes the seasons of demo_seed's parameters with seeds 1 to SEEDS (default 40), removes the labelled
mistakes, and prints three tables: how close each method is to what each team's current build
truly is (root mean square error of ln power about its mean, and Kendall's tau); how often pairs
said to be ahead are; and how often the 80 % range of an outlook holds what an event brings.
"""

import math
import sys

import numpy as np
import pandas as pd
from scipy.stats import kendalltau

from analysis.comparison.columns import compared_columns
from analysis.comparison.fit import SeasonFit, fit_season
from analysis.event.forecast import Entrants, Event, draw_forecast, score_forecast
from analysis.trials.results import TrialResults, trial_results
from scripts.invented_season import Season
from scripts.make_season import make
from tests.bench.seasons import SEED_FOLDER, clean_frames, current_builds

KINDS = ("record", "reference")
EVENTS_A_SEASON = 25
CALLED = ((0.50, 0.80), (0.80, 0.95), (0.95, 1.01))  # probabilities said of the likelier one


def main(arguments: list[str]) -> None:
    """Print the tables."""
    seeds = int(arguments[0]) if arguments else 40
    table = pd.DataFrame([score(make(SEED_FOLDER, seed)) for seed in range(1, seeds + 1)])
    print(f"{seeds} seasons, mistakes removed: mean over seasons")
    print(f"{'method':32} {'RMSE ln P':>10} {'tau':>6}")
    for name in ("raw", "normalised", "season model", "season model, own exponents"):
        rmse, tau = table[f"{name} rmse"].mean(), table[f"{name} tau"].mean()
        print(f"{name:32} {rmse:10.3f} {tau:6.2f}")
    print(f"\n{'pairs said to be ahead with':28} {'pairs':>6} {'said':>6} {'right':>6}")
    for low, high in CALLED:
        pairs, right = table[f"pairs {low}"].sum(), table[f"right {low}"].sum()
        mean = table[f"sum {low}"].sum() / max(1, pairs)
        print(
            f"{low:.2f} to {min(high, 1):.2f}{'':18} {pairs:6.0f} {mean:6.2f} {right / pairs:6.2f}"
        )
    print(f"\noutlooks on {EVENTS_A_SEASON} invented events a season")
    print(f"results within their 80 % range {100 * table['inside'].mean():5.1f} %")
    print(f"Brier score of pairs            {table['brier'].mean():5.3f}   (0.25 is a coin's)")
    print(f"mean ln bias                    {table['bias'].mean():+5.3f}")


def score(season: Season) -> dict[str, float]:
    """Return how close each method is to a season's truth."""
    answer: dict[str, float] = {}
    for name, own in (("season model", False), ("season model, own exponents", True)):
        trials, runs = clean_frames(season, KINDS, own_exponents=own)
        results = trial_results(trials, runs)
        is_known = np.isfinite(results.normalised_power_w)
        fit = _fit(trials[is_known], results, is_known)
        truth, current, teams = current_builds(season, set(fit.build_ids))
        fair = np.array([fit.effects[build] for build in current])
        answer |= _score(name, fair, truth)
    for name, power in (("raw", results.power_w), ("normalised", results.normalised_power_w)):
        record = is_known & (trials["kind"] == "record").to_numpy()
        means = pd.Series(np.log(power[record])).groupby(
            trials["build_id"][record].to_numpy()
        ).mean()  # fmt: skip
        answer |= _score(name, np.array([means[build] for build in current]), truth)
    exponents = dict(zip(trials["build_id"], zip(results.wind_exponent,
                         results.u_wind_exponent, strict=True), strict=True))  # fmt: skip
    return (
        answer
        | _calibration(fit, current, fair, truth)
        | _events(season, fit, current, teams, exponents)
    )


def _fit(trials: pd.DataFrame, results: TrialResults, is_known: np.ndarray) -> SeasonFit:
    columns = {name: trials[name].to_numpy() for name in trials}
    return fit_season(compared_columns(columns, results.only(is_known)))


def _score(name: str, values: np.ndarray, truth: np.ndarray) -> dict[str, float]:
    off = values - truth
    return {
        f"{name} rmse": float(np.std(off)),
        f"{name} tau": float(kendalltau(values, truth).statistic),
    }


def _calibration(fit, current, fair, truth) -> dict[str, float]:
    """Return the numbers of pairs by stated probability, and of those that were right."""
    c = fit.covariance_of(current)
    counts = {f"{what} {low}": 0.0 for low, _ in CALLED for what in ("pairs", "right", "sum")}
    for i in range(len(current)):
        for j in range(i):
            u = math.sqrt(c[i, i] + c[j, j] - 2 * c[i, j])
            p = 0.5 * math.erfc(-abs(fair[i] - fair[j]) / u / math.sqrt(2))
            low = next(low for low, high in CALLED if low <= p < high)
            counts[f"pairs {low}"] += 1
            counts[f"sum {low}"] += p
            counts[f"right {low}"] += (fair[i] - fair[j]) * (truth[i] - truth[j]) > 0
    return counts


def _events(season, fit, current, teams, exponents) -> dict[str, float]:
    """Return scores of forecasts of invented events, made from the season's trials."""
    rng = np.random.default_rng(season.seed)
    anchor = math.log(0.060) - fit.effects["reference"]  # assigned, as a coach would
    entrants = Entrants(
        ln_power=np.array([fit.effects[build] for build in current]) + anchor,
        covariance=_relative(fit, current),
        wind_exponent=np.array([exponents[build][0] for build in current]),
        u_wind_exponent=np.array([exponents[build][1] for build in current]),
        not_finishing=np.zeros(len(current)),
    )
    truth = np.array([team.builds[int(name.split("-")[1]) - 1].ln_power
                      for team, name in zip(teams, current, strict=True)])  # fmt: skip
    true_exponent = np.array([team.wind_exponent for team in teams])
    scores = []
    for _ in range(EVENTS_A_SEASON):
        about = Event(wind_speed_m_s=float(rng.uniform(3.6, 4.6)))
        forecast = draw_forecast(entrants, about, seed=int(rng.integers(2**31)), draws=2_000)
        ln_wind = math.log(about.wind_speed_m_s / 4) + rng.normal(0, 0.04)
        result = (
            truth + true_exponent * ln_wind + rng.normal(0, 0.125)
            + rng.normal(0, 0.05, len(truth)) + rng.normal(0, 0.06, len(truth))
        )  # fmt: skip
        scores.append(score_forecast(forecast, np.exp(result)))
    return {
        "inside": float(np.mean([each.coverage for each in scores])),
        "brier": float(np.mean([each.brier for each in scores])),
        "bias": float(np.mean([each.mean_ln_bias for each in scores])),
    }


def _relative(fit: SeasonFit, current: list[str]) -> np.ndarray:
    """Return the covariance of builds' ln power relative to the reference rotor."""
    c = fit.covariance_of([*current, "reference"])
    to = np.column_stack([np.eye(len(current)), -np.ones(len(current))])
    return to @ c @ to.T


if __name__ == "__main__":
    main(sys.argv[1:])
