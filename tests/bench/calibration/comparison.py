"""How near the fair comparison comes, and whether its intervals and probabilities hold."""

from dataclasses import dataclass, field

import numpy as np
from scipy.stats import kendalltau

from analysis.comparison.columns import compared_columns
from analysis.comparison.control_chart import freed_of_drift
from analysis.comparison.fit import SeasonFit, fit_season
from analysis.numeric.distributions import normal_cdf
from analysis.trials.results import TrialResults, trial_results
from tests.bench.calibration.oracle import best_predictor
from tests.bench.calibration.scenarios import Scenario
from tests.bench.calibration.seasons import Drawn, drawn

BINS = ((0.50, 0.65), (0.65, 0.80), (0.80, 0.95), (0.95, 1.01))


@dataclass
class Scores:
    """What many seasons of a scenario showed."""

    rmse: list[float] = field(default_factory=list)
    limit: list[float] = field(default_factory=list)
    tau: list[float] = field(default_factory=list)
    within: list[float] = field(default_factory=list)
    stated: list[np.ndarray] = field(default_factory=list)
    right: list[np.ndarray] = field(default_factory=list)
    mistakes: int = 0
    caught: int = 0
    clean: int = 0
    falsely: int = 0

    def row(self) -> dict[str, str]:
        """Return the figures of one row of the table."""
        stated, right = np.concatenate(self.stated), np.concatenate(self.right)
        rmse, limit = (float(np.sqrt(np.mean(np.square(x)))) for x in (self.rmse, self.limit))
        row = {
            "RMSE": f"{rmse:.3f}", "ratio": f"{rmse / limit:.2f}",
            "tau": f"{np.mean(self.tau):.2f}", "95 % holds": f"{np.mean(self.within):.3f}",
        }  # fmt: skip
        for low, high in BINS:
            some = (stated >= low) & (stated < high)
            row[f"{low:.2f} to {min(high, 1):.2f}"] = (
                f"{np.mean(stated[some]):.3f} → {np.mean(right[some]):.3f}" if some.any() else "–"
            )
        caught = f"{self.caught} of {self.mistakes}" if self.mistakes else "–"
        asked = f"{100 * self.falsely / max(1, self.clean):.2f} %"
        return row | {"mistakes caught": caught, "sound asked about": asked}


def columns_of(
    season: Drawn, *, corrects_drift: bool = True
) -> tuple[dict[str, np.ndarray], TrialResults, np.ndarray]:
    """Return the columns of a season's fit, the results, and which trials are in the columns."""
    columns = {name: season.trials[name].to_numpy() for name in season.trials}
    runs = {name: season.runs[name].to_numpy() for name in season.runs}
    results = trial_results(columns, runs)
    known = np.isfinite(results.normalised_power_w)
    some = {name: column[known] for name, column in columns.items()}
    trials = compared_columns(some, results.only(known)) | {"started_at": some["started_at"]}
    if corrects_drift:
        trials["log_power"], _ = freed_of_drift(trials)
    return trials, results, known


def fitted(
    season: Drawn, *, corrects_drift: bool = True
) -> tuple[SeasonFit, TrialResults, np.ndarray]:
    """Return a season's fit as the service makes it, the results, and which trials are in it."""
    trials, results, known = columns_of(season, corrects_drift=corrects_drift)
    return fit_season(trials), results, known


def score(of: Scenario, seeds: int) -> Scores:
    """Return the scores of some seasons of a scenario."""
    scores = Scores()
    for seed in range(seeds):
        season = drawn(of, seed)
        fit, results, known = fitted(season)
        if set(season.current) - set(fit.build_ids):
            continue
        truth = np.array([season.truth[each] for each in season.current])
        fair = np.array([fit.effects[each] for each in season.current])
        scores.rmse.append(float(np.std(fair - truth)))
        # The oracle knows the mistaken trials and leaves them out.
        sound = known & (season.mistake == "")
        best = best_predictor(of, season, results, sound)
        scores.limit.append(float(np.std(best - truth)))
        scores.mistakes += int((season.mistake[known] != "").sum())
        scores.caught += int((fit.is_aside & (season.mistake[known] != "")).sum())
        scores.clean += int(sound.sum())
        scores.falsely += int((fit.is_aside & (season.mistake[known] == "")).sum())
        scores.tau.append(float(kendalltau(fair, truth).statistic))
        _pairs(scores, fit, season.current, fair, truth)
    return scores


def _pairs(scores: Scores, fit: SeasonFit, current, fair, truth) -> None:
    c = fit.covariance_of(current)
    one, other = np.triu_indices(len(current), 1)
    u = np.sqrt(np.maximum(c[one, one] + c[other, other] - 2 * c[one, other], 0))
    difference, true = fair[one] - fair[other], truth[one] - truth[other]
    scores.within.append(float(np.mean(np.abs(difference - true) <= 1.96 * u)))
    p = np.array([normal_cdf(each) for each in np.abs(difference) / u])
    scores.stated.append(p)
    scores.right.append(np.sign(difference) == np.sign(true))
