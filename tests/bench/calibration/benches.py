"""How often the interval of a trial, the verdict on a bench, and the rotor's chart are right."""

from dataclasses import dataclass

import numpy as np

from analysis.comparison.bench_scores import score_benches
from analysis.comparison.columns import compared_columns
from analysis.comparison.control_chart import control_charts, rotor_drift
from analysis.comparison.fit import SeasonFit
from analysis.comparison.pairs import fair_powers
from analysis.numeric.groups import group_by
from analysis.season.estimates import places, typical_figures
from analysis.season.progress import trend_of
from analysis.trials.results import TrialResults
from tests.bench.calibration.comparison import fitted
from tests.bench.calibration.scenarios import Scenario
from tests.bench.calibration.seasons import Drawn, drawn

ROTOR_W = 0.06  # [W], what the reference rotor truly gives
FINE_UP_TO, BAD_FROM = 0.20, 0.40  # [-], true bias of ln power: no reason to act, and a good one


@dataclass
class Counts:
    """What the seasons of a scenario showed: hits and cases of each figure."""

    held: int = 0
    intervals: int = 0
    powers_held: int = 0
    powers: int = 0
    builds_held: int = 0
    builds: int = 0
    biases_held: int = 0
    biases: int = 0
    acted_on_fine: int = 0
    fine: int = 0
    acted_on_bad: int = 0
    bad: int = 0
    charted_as_odd: int = 0
    points: int = 0
    drifts: int = 0
    seasons: int = 0

    def row(self) -> dict[str, str]:
        """Return the figures of one row of the table."""
        return {
            "95 % of a trial hold": _share(self.held, self.intervals),
            "of a build": _share(self.builds_held, self.builds),
            "of a comparable power": _share(self.powers_held, self.powers),
            "of a bench bias": _share(self.biases_held, self.biases),
            "fine bench: act": _share(self.acted_on_fine, self.fine),
            "bad bench: act": _share(self.acted_on_bad, self.bad),
            "steady session: act": _share(self.charted_as_odd, self.points),
            "rotor said to drift": _share(self.drifts, self.seasons),
        }


def _share(hits: int, cases: int) -> str:
    return f"{100 * hits / cases:.1f} % of {cases}" if cases else "–"


def counts_of(of: Scenario, seeds: int) -> Counts:
    """Return the counts of some seasons of a scenario."""
    counts = Counts()
    for seed in range(seeds):
        season = drawn(of, seed)
        fit, results, known = fitted(season)
        _intervals(counts, season, results, known)
        _builds(counts, season, results, known)
        _powers(counts, season, fit)
        _verdicts(counts, season, fit)
        if of.reference_weeks:
            _charts(counts, season, fit, results, known)
    return counts


def _intervals(counts: Counts, season: Drawn, results: TrialResults, known: np.ndarray) -> None:
    """Count the trials whose interval holds what the bench truly gives at the reference wind."""
    sound = known & (season.mistake == "")
    truth = np.exp(season.ln_power)
    low, high = results.interval_low_w, results.interval_high_w
    counts.held += int(((low <= truth) & (truth <= high))[sound].sum())
    counts.intervals += int(sound.sum())


def _builds(counts: Counts, season: Drawn, results: TrialResults, known: np.ndarray) -> None:
    """Count the builds at one bench whose interval holds what they truly gave in their trials."""
    trials = {name: season.trials[name].to_numpy() for name in season.trials}
    sound = known & (season.mistake == "")
    by = group_by(trials["build_id"][sound])
    truth = np.exp(by.mean(season.ln_power[sound]))
    for at, figure in enumerate(typical_figures(by, places(sound, trials), results)):
        low, high = figure.interval_w
        counts.builds_held += bool(low <= truth[at] <= high)
        counts.builds += 1


def _powers(counts: Counts, season: Drawn, fit: SeasonFit) -> None:
    """Count the current builds whose comparable power holds, on the scale of the rotor's 60 mW."""
    fair = fair_powers(fit, {"reference": ROTOR_W})
    for build in season.current:
        if build in fair:
            low, high = fair[build].interval_w
            counts.powers_held += bool(low <= np.exp(season.truth[build]) <= high)
            counts.powers += 1


def _verdicts(counts: Counts, season: Drawn, fit: SeasonFit) -> None:
    """Count the verdicts `act` by what is true: a bench's fan and its meter's error."""
    true = {name: season.bench[name] + season.meter_effect[name] for name in season.bench}
    middle = np.median(list(true.values()))
    mean = np.mean(list(true.values()))
    for score, effect in zip(score_benches(fit), fit.bench_effect, strict=True):
        error = effect - fit.bench_effect.mean() - (true[score.bench_id] - mean)
        counts.biases_held += bool(abs(error) <= 2 * score.u)
        counts.biases += 1
        off = abs(true[score.bench_id] - middle)
        is_act = score.verdict == "act"
        counts.fine += off <= FINE_UP_TO
        counts.acted_on_fine += bool(is_act and off <= FINE_UP_TO)
        counts.bad += off >= BAD_FROM
        counts.acted_on_bad += bool(is_act and off >= BAD_FROM)


def _charts(
    counts: Counts, season: Drawn, fit: SeasonFit, results: TrialResults, known: np.ndarray
) -> None:
    rotor = _rotor(season, results, known)
    for chart in control_charts(rotor, fit.spread):
        counts.points += len(chart.points)
        counts.charted_as_odd += sum(point.verdict == "act" for point in chart.points)
    drift = rotor_drift(rotor)
    counts.seasons += drift is not None
    counts.drifts += drift is not None and drift.is_certain


def _rotor(season: Drawn, results: TrialResults, known: np.ndarray) -> dict[str, np.ndarray]:
    columns = {name: season.trials[name].to_numpy()[known] for name in season.trials}
    trials = compared_columns(columns, results.only(known))
    trials |= {"started_at": columns["started_at"]}
    is_rotor = (columns["team_id"] == "") & (season.mistake[known] == "")
    return {name: column[is_rotor] for name, column in trials.items()}


def trends_with_a_rotor(of: Scenario, seeds: int, *, corrects_drift: bool) -> tuple[int, int, int]:
    """Return how many of some teams are called improving, how many slopes hold 0, and of how many.

    Teams with too few sessions for a slope are left out.
    """
    called = held = teams = 0
    for seed in range(seeds):
        season = drawn(of, seed)
        fit, results, known = fitted(season, corrects_drift=corrects_drift)
        columns = {name: season.trials[name].to_numpy()[known] for name in season.trials}
        ln_power = np.log(results.normalised_power_w[known])
        bench = dict(zip(fit.bench_ids, fit.bench_effect, strict=True))
        session = dict(zip(fit.session_ids, fit.session_effect, strict=True))
        off = np.array([bench[at] + session[of_session] for at, of_session in
                        zip(columns["bench_id"], columns["session_id"], strict=True)])  # fmt: skip
        for team in sorted(set(columns["team_id"]) - {""}):
            rows = columns["team_id"] == team
            weeks = columns["started_at"][rows] / 604_800.0
            each = sorted(set(weeks))
            means = [float(np.mean((ln_power - off)[rows][weeks == week])) for week in each]
            trend = trend_of(each, means)
            if trend.slope is None:
                continue
            called += trend.verdict == "improving"
            held += trend.slope.interval[0] <= 0 <= trend.slope.interval[1]
            teams += 1
    return called, held, teams
