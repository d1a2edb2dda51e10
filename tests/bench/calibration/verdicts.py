"""How often a trend or the effect of a change is claimed where nothing changed."""

import numpy as np

from analysis.numeric.groups import group_by
from analysis.season.changes import Pairing, effect_of_change, trial_uncertainty
from analysis.season.estimates import places, typical_figures
from analysis.season.progress import trend_of
from tests.bench.calibration.comparison import fitted
from tests.bench.calibration.scenarios import Scenario
from tests.bench.calibration.seasons import drawn


def false_trends(sessions: int, seeds: int, tails: int = 0) -> tuple[float, float]:
    """Return how often teams that do not improve are called improving: at the end, at any look."""
    draw = np.random.default_rng(1)
    at_end = at_any = 0
    for _ in range(seeds):
        y = draw.standard_t(tails, sessions) if tails else draw.normal(size=sessions)
        verdicts = [trend_of(list(range(n)), y[:n]).verdict for n in range(5, sessions + 1)]
        at_end += verdicts[-1] == "improving"
        at_any += "improving" in verdicts
    return at_end / seeds, at_any / seeds


def change_claims(of: Scenario, seeds: int) -> dict[str, tuple[int, int]]:
    """Return by design how many changes were claimed of builds that are the same, and of how many.

    The trials of one build at one bench are divided in two, as if a new build began in between.
    """
    counts = {"within": [0, 0], "across": [0, 0]}
    for seed in range(seeds):
        season = drawn(of, seed)
        fit, results, known = fitted(season)
        is_odd = np.zeros(len(known), dtype=bool)
        is_odd[known] = fit.is_aside
        trials = {name: season.trials[name].to_numpy() for name in season.trials}
        for build in season.current:
            rows = np.flatnonzero((trials["build_id"] == build)
                                  & known & ~is_odd)  # fmt: skip
            session = trials["session_id"][rows]
            if len(set(trials["bench_id"][rows])) != 1 or len(rows) < 2:
                continue
            whole = len(set(session)) == 1
            is_new = np.arange(len(rows)) >= len(rows) // 2
            if not whole:
                weeks = sorted(set(session), key=list(session).index)
                is_new = np.isin(session, weeks[len(weeks) // 2 :])
            of_rows = results.only(rows)
            figures = _figures(trials, results, rows, is_new)
            u = trial_uncertainty(of_rows, session.astype(str), fit.spread.residual)
            ln_power = np.log(of_rows.normalised_power_w)
            pairing = Pairing(ln_power, u, session.astype(str), is_new)
            effect = effect_of_change(figures[1], figures[0], pairing, fit.spread.session)
            low, high = effect.interval_pct
            count = counts["within" if effect.design != "different_sessions" else "across"]
            count[0] += not low <= 0 <= high
            count[1] += 1
    return {name: (claimed, of) for name, (claimed, of) in counts.items()}


def _figures(trials, results, rows, is_new):
    """Return the typical power of the older and of the newer half."""
    counted = np.zeros(len(trials["build_id"]), dtype=bool)
    counted[rows] = True
    where = places(counted, trials)
    return list(typical_figures(group_by(is_new.astype(int)), where, results))
