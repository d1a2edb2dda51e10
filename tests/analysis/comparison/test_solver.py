"""The season model's spreads compared with certified values and another program's."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from analysis.comparison import factor
from analysis.comparison.design import Model, Spread
from analysis.comparison.solver import Solution, WeightedTrials, restricted_spread
from tests.support.season_designs import travelling, written_out

SIRSTV = Path(__file__).parents[2] / "reference" / "SiRstv.dat"


def one_build(session_id, bench_id=None):
    """Return the ids of trials of one build, session by session."""
    count = len(session_id)
    return {
        "team_id": ["team"] * count,
        "build_id": ["build"] * count,
        "bench_id": ["bench"] * count if bench_id is None else bench_id,
        "session_id": np.asarray(session_id).astype(str),
    }


class TestSpreads:
    def test_nist_sirstv(self):
        """NIST StRD SiRstv, certified (check F2); balanced, so REML is the ANOVA estimator.

        Readings represent trials, instruments represent sessions, both tenfold:
        s_within² = 1.08318280, s_between² = (1.27865654 - 1.08318280)/5.
        """
        rows = [line.split() for line in SIRSTV.read_text().splitlines()[60:85]]
        instrument = [row[0] for row in rows]
        y = 10 * np.array([float(row[1]) for row in rows])
        u = np.full(len(y), 0.5)
        quiet = Spread(interaction=1e-6, team=1e-6)
        estimate = restricted_spread(
            Model(one_build(instrument)), y, u**-2.0, quiet, 0.1, prior_width=math.inf
        )
        assert (estimate.residual * 0.5) ** 2 == pytest.approx(1.08318280, rel=2e-3)
        between = (1.27865654 - 1.08318280) / 5
        assert estimate.session == pytest.approx(np.sqrt(between), rel=0.02)

    def test_agrees_with_statsmodels(self):
        """Builds fixed, sessions random: statsmodels 0.15 MixedLM, restricted likelihood."""
        rng = np.random.default_rng(8)
        session = np.repeat(np.arange(24), 5)
        build = np.tile(np.arange(10), 12)
        y = build * 0.1 + rng.normal(0, 0.12, 24)[session] + rng.normal(0, 0.05, 120)
        trials = one_build(session) | {"build_id": build.astype(str)}
        spread = Spread(interaction=1e-6, team=1e-6)
        ours = restricted_spread(
            Model(trials), y, np.full(120, 0.04**-2), spread, 0.1, prior_width=math.inf
        )
        frame = pd.DataFrame({"y": y, "build": build, "session": session})
        theirs = smf.mixedlm("y ~ C(build)", frame, groups="session").fit(reml=True)
        assert ours.session == pytest.approx(np.sqrt(theirs.cov_re.iloc[0, 0]), rel=0.01)
        assert ours.residual * 0.04 == pytest.approx(np.sqrt(theirs.scale), rel=0.01)

    def test_floors_apply_without_scatter(self):
        y = np.repeat([0.0, 0.1], 30)
        trials = one_build(np.tile(np.arange(12), 5)) | {"build_id": np.repeat(["a", "b"], 30)}
        estimate = restricted_spread(
            Model(trials), y, np.full(60, 0.04**-2), Spread(), 0.75, prior_width=math.inf
        )
        assert estimate.session == pytest.approx(0.03)
        assert estimate.residual == pytest.approx(0.75)

    def test_learning_is_not_scatter_of_sessions(self):
        """Teams that double and redouble from build to build, sessions that are all alike."""
        rng = np.random.default_rng(3)
        build = np.repeat(np.arange(40), 4)
        session = np.repeat(np.arange(20), 8) + np.tile([0, 0, 1, 1], 40)
        y = 0.3 * build + rng.normal(0, 0.04, 160)
        trials = one_build(session) | {"build_id": build.astype(str)}
        estimate = restricted_spread(
            Model(trials), y, np.full(160, 0.04**-2), Spread(), 0.5, prior_width=math.inf
        )
        assert estimate.session < 0.05

    def test_a_few_quiet_trials_are_not_taken_at_their_word(self):
        """Six pairs of trials agree by chance: the prior keeps the residual near the usual one."""
        y = np.repeat(np.linspace(0, 1, 6), 2)
        trials = one_build(np.repeat(np.arange(6), 2)) | {"build_id": np.repeat(list("abcdef"), 2)}
        free, shrunk = (
            restricted_spread(
                Model(trials), y, np.full(12, 0.04**-2), Spread(), 0.1, prior_width=width
            )
            for width in (math.inf, 1.0)
        )
        assert free.residual == pytest.approx(0.1)
        assert 0.5 < shrunk.residual < 1


class TestSolution:
    """Against the same equations written out with a column for each term, solved by numpy."""

    @pytest.fixture(params=[0, 1_000], ids=["in blocks", "as one matrix"], autouse=True)
    def way(self, request, monkeypatch):
        monkeypatch.setattr(factor, "DENSE_UP_TO", request.param)

    def solved(self, seed):
        draw = np.random.default_rng(seed)
        trials, spread = travelling(draw), Spread()
        y, weight = draw.normal(0, 0.1, 60), draw.uniform(200, 900, 60)
        x, variance, names = written_out(trials, spread)
        inverse = np.linalg.inv(x.T @ np.diag(weight) @ x + np.diag(1 / variance))
        model = Model(trials)
        return (
            trials,
            model,
            Solution(WeightedTrials(model, y, weight), spread),
            y,
            weight,
            x,
            variance,
            names,
            (inverse),
        )

    @pytest.mark.parametrize("seed", range(4))
    def test_likelihood_and_leverages(self, seed):
        """-2 ln L = ln |V| + y'V⁻¹y with V = XDX' + R, and h = diag(X A⁻¹ X' R⁻¹)."""
        _, _, solution, y, weight, x, variance, _, inverse = self.solved(seed)
        v = x @ np.diag(variance) @ x.T + np.diag(1 / weight)
        expected = np.linalg.slogdet(v)[1] + y @ np.linalg.solve(v, y)
        assert solution.minus_two_log_likelihood() == pytest.approx(expected)
        hat = x @ inverse @ x.T * weight
        assert weight * solution.fit_variances() == pytest.approx(np.diag(hat))

    def test_the_gradient_by_finite_differences(self):
        _, model, _, y, weight, *_ = self.solved(1)

        def misfit(session, interaction, residual):
            spread = Spread(
                session=0.06 * math.exp(session), interaction=0.05 * math.exp(interaction)
            )
            solution = Solution(WeightedTrials(model, y, weight / math.exp(residual) ** 2), spread)
            return solution.minus_two_log_likelihood()

        steps = 1e-5 * np.eye(3)
        expected = [(misfit(*step) - misfit(*-step)) / 2e-5 for step in steps]
        found = Solution(WeightedTrials(model, y, weight), Spread()).gradient()
        assert found == pytest.approx(expected, rel=1e-5)

    @pytest.mark.parametrize("seed", range(4))
    def test_residuals_bench_effects_and_readings_at_benches(self, seed):
        trials, model, solution, y, weight, x, _, names, inverse = self.solved(seed)
        terms = inverse @ x.T @ (weight * y)
        assert solution.residuals == pytest.approx(y - x @ terms)
        benches = [at for at, (kind, _) in enumerate(names) if kind == "bench"]
        assert solution.variances(solution.of_terms("bench")) == pytest.approx(
            np.diag(inverse)[benches]
        )
        place = {name: at for at, name in enumerate(names)}
        team_of = dict(zip(trials["build_id"], trials["team_id"], strict=True))
        builds = [str(each) for each in model.builds.labels]
        tested = set(zip(trials["build_id"], trials["bench_id"], strict=True))
        readings = [(build, bench) for build in builds for bench in ("k0", "k1", "k2")]

        def dense(build, bench=None):
            row = np.zeros(len(names))
            row[[place["mean", ""], place["build", build]]] = 1.0
            row[[place["team", t] for t in [str(team_of[build])] if t]] = 1.0
            row[[place["bench", b] for b in [bench] if b]] = 1.0
            row[[place["interaction", build + b] for b in [bench] if (build, b) in tested]] = 1.0
            return row

        rows = np.array([dense(build) for build in builds] + [dense(*each) for each in readings])
        at = np.repeat(np.arange(len(builds)), 3)
        read, is_new = solution.readings(at, np.tile(np.arange(3), len(builds)))
        sums = solution.builds(np.arange(len(builds))).and_then(read)
        assert is_new.tolist() == [each not in tested for each in readings]
        assert sums.rows @ solution.terms == pytest.approx(rows @ terms)
        expected = rows @ inverse @ rows.T
        assert np.allclose(solution.covariance(sums), expected, atol=1e-12)
        assert solution.variances(sums) == pytest.approx(np.diag(expected))
