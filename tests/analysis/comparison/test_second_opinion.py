"""The season's fit against statsmodels' mixed model: the same terms and the same spreads."""

from itertools import combinations

import numpy as np
import pytest

from analysis.comparison.design import Spread
from analysis.comparison.fit import fit_season
from tests.support.mixed_model import mixed_model

TEAMS, WEEKS = 9, 5


def season():
    """Return trials of nine teams of three schools, some at other benches, and of a rotor."""
    draw = np.random.default_rng(5)
    strength = {team: draw.normal(-3, 0.3) for team in range(TEAMS)}
    bench = {at: draw.normal(0, 0.15) for at in range(3)}
    session = {(at, week): draw.normal(0, 0.05) for at in range(3) for week in range(WEEKS)}
    pair: dict[tuple[str, int], float] = {}
    rows = []

    def run(build, team, at, week, level):
        there = pair.setdefault((build, at), draw.normal(0, 0.05))
        y = level + bench[at] + session[at, week] + there + draw.normal(0, 0.03)
        rows.append((build, team, f"b{at}", f"s{at} {week}", y))

    for week in range(WEEKS):
        for at in range(3):
            run("rotor", "", at, week, -2.8)
        for team in range(TEAMS):
            build = f"t{team} {1 + week // 3}"
            away = team % 3 == 0 and week == WEEKS - 1
            for _ in range(2):
                at = (team // 3 + away) % 3
                run(build, f"t{team}", at, week, strength[team] + 0.1 * (week // 3))
    names = ("build_id", "team_id", "bench_id", "session_id", "log_power")
    columns = (np.array(column) for column in zip(*rows, strict=True))
    return dict(zip(names, columns, strict=True))


def test_effects_and_standard_errors_are_those_of_the_mixed_model():
    """Differences of ln power agree to 0.0005, their standard errors to 0.2 %.

    Statsmodels estimates the spreads by restricted maximum likelihood; the fit takes them as they
    are. No trial is odd here, so that all count in full, as in the mixed model.
    """
    trials = season()
    other = mixed_model(trials)
    names = ("team", "build", "bench", "session", "interaction")
    spread = Spread(**{name: other.spread[name] for name in names})
    u_own = np.full(len(trials["log_power"]), other.spread["residual"])
    fit = fit_season(trials | {"u_own": u_own}, spread=spread)
    assert fit.weights.min() == 1
    for one, another in combinations(list(other.effects), 2):
        difference, u = other.difference(one, another)
        assert fit.effects[one] - fit.effects[another] == pytest.approx(difference, abs=5e-4)
        assert fit.u_difference(one, another) == pytest.approx(u, rel=2e-3)
