"""The season's equations, dense and in blocks, compared with numpy's dense solution."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array

from analysis.comparison import factor
from analysis.comparison.design import Model, Spread
from analysis.comparison.factor import equations
from analysis.errors import InvalidInput
from tests.support.season_designs import travelling

SCALE = 0.7
WAYS = {"in blocks": 0, "as one matrix": 1_000_000}


@pytest.fixture(params=WAYS.values(), ids=WAYS)
def way(request, monkeypatch):
    monkeypatch.setattr(factor, "DENSE_UP_TO", request.param)


def drawn(seed):
    """Return a model of drawn trials, the weight of each cell, and the priors' precisions."""
    draw = np.random.default_rng(seed)
    model = Model(travelling(draw, 50))
    return model, draw.uniform(50, 900, model.cells.size), model.precision(Spread())


def written_out(model, of_cell, prior):
    design = model.design.toarray()
    return SCALE * design.T @ np.diag(of_cell) @ design + np.diag(prior)


@pytest.mark.usefixtures("way")
class TestRefused:
    def test_what_rounding_leaves_undecided(self):
        """One trial, so heavy that the priors of terms only ever seen together round away."""
        names = ("team_id", "build_id", "bench_id", "session_id")
        model = Model({name: np.array([name]) for name in names})
        of_cell, prior = np.array([2.0**99]), np.full(model.size, 0.1)
        with pytest.raises(InvalidInput, match="weighed"):
            equations(model, of_cell).factorised(1.0, prior)

    def test_priors_that_take_more_than_the_trials_give(self):
        model, of_cell, prior = drawn(0)
        prior = prior.copy()
        prior[model.position["bench"]] = -1e9
        with pytest.raises(InvalidInput, match="weighed"):
            equations(model, of_cell).factorised(1.0, prior)


@pytest.mark.usefixtures("way")
class TestAgainstOneDenseMatrix:
    @pytest.fixture(params=range(4))
    def case(self, request):
        model, of_cell, prior = drawn(request.param)
        factorised = equations(model, of_cell).factorised(SCALE, prior)
        return model, factorised, written_out(model, of_cell, prior), request.param

    def test_determinant(self, case):
        _, factorised, dense, _ = case
        assert factorised.log_determinant == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-9)

    def test_the_unknowns(self, case):
        model, factorised, dense, seed = case
        right = np.random.default_rng(seed).normal(size=model.size)
        assert factorised.solve(right) == pytest.approx(np.linalg.solve(dense, right), rel=1e-9)

    def test_variance_of_each_unknown(self, case):
        _, factorised, dense, _ = case
        assert factorised.diagonal() == pytest.approx(np.diag(np.linalg.inv(dense)), rel=1e-9)

    def test_variance_of_each_cell(self, case):
        model, factorised, dense, _ = case
        design = model.design.toarray()
        expected = np.diag(design @ np.linalg.inv(dense) @ design.T)
        assert factorised.cell_variances() == pytest.approx(expected, rel=1e-9)

    def test_covariance_and_variance_of_sums(self, case):
        model, factorised, dense, seed = case
        draw = np.random.default_rng(seed)
        sums = draw.normal(size=(7, model.size)) * (draw.random((7, model.size)) < 0.3)
        expected = sums @ np.linalg.inv(dense) @ sums.T
        rows = csr_array(sums)
        assert factorised.covariance(rows) == pytest.approx(expected, rel=1e-9, abs=1e-12)
        assert factorised.variances(rows) == pytest.approx(np.diag(expected), rel=1e-9)

    def test_another_scale_and_other_priors_of_the_same_equations(self, case):
        """They are put together once, and tried with many priors."""
        model, _, _, seed = case
        _, of_cell, prior = drawn(seed)
        tried = equations(model, of_cell)
        tried.factorised(3.0, 2 * prior)
        again = tried.factorised(SCALE, prior)
        dense = written_out(model, of_cell, prior)
        assert again.diagonal() == pytest.approx(np.diag(np.linalg.inv(dense)), rel=1e-9)


@pytest.mark.usefixtures("way")
class TestLikeAnotherFactor:
    """What is the same is not worked out again, and all that differs is."""

    @pytest.mark.parametrize("seed", range(4))
    def test_weights_of_a_few_cells(self, seed):
        model, of_cell, prior = drawn(seed)
        like = equations(model, of_cell).factorised(SCALE, prior)
        other = of_cell.copy()
        other[0] *= 3
        again = equations(model, other).factorised(SCALE, prior, like)
        dense = written_out(model, other, prior)
        assert again.diagonal() == pytest.approx(np.diag(np.linalg.inv(dense)), rel=1e-9)

    @pytest.mark.parametrize("left_out", range(50))
    def test_one_trial_less(self, left_out):
        """It may change which builds travel, and so what benches share."""
        season = travelling(np.random.default_rng(1), 50)
        stays = np.arange(50) != left_out
        before = Model({name: np.asarray(column)[stays] for name, column in season.items()})
        model = Model(season)
        like = equations(before, np.full(before.cells.size, 400.0)).factorised(
            SCALE, before.precision(Spread())
        )
        of_cell, prior = np.full(model.cells.size, 400.0), model.precision(Spread())
        again = equations(model, of_cell).factorised(SCALE, prior, like)
        dense = written_out(model, of_cell, prior)
        assert again.diagonal() == pytest.approx(np.diag(np.linalg.inv(dense)), rel=1e-9)
        design = model.design.toarray()
        of_cells = np.diag(design @ np.linalg.inv(dense) @ design.T)
        assert again.cell_variances() == pytest.approx(of_cells, rel=1e-9)


def test_benches_without_a_change_keep_their_blocks(monkeypatch):
    monkeypatch.setattr(factor, "DENSE_UP_TO", 0)
    model, of_cell, prior = drawn(0)
    like = equations(model, of_cell).factorised(SCALE, prior)
    other = of_cell.copy()
    other[0] *= 3  # a cell of the first bench
    again = equations(model, other).factorised(SCALE, prior, like)
    kept = [one is before for one, before in zip(again.blocks, like.blocks, strict=True)]
    assert kept == [False] + [True] * (len(kept) - 1)
    assert len(kept) > 1


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_both_ways_agree(seed):
    model, of_cell, prior = drawn(seed)
    before, factors = factor.DENSE_UP_TO, []
    try:
        for limit in WAYS.values():
            factor.DENSE_UP_TO = limit
            factors.append(equations(model, of_cell).factorised(SCALE, prior))
    finally:
        factor.DENSE_UP_TO = before
    in_blocks, dense = factors
    assert type(in_blocks) is not type(dense)
    assert in_blocks.diagonal() == pytest.approx(dense.diagonal(), rel=1e-9)
    assert in_blocks.log_determinant == pytest.approx(dense.log_determinant, abs=1e-9)


def test_few_unknowns_are_one_matrix_and_many_are_blocks(monkeypatch):
    model, of_cell, prior = drawn(2)
    monkeypatch.setattr(factor, "DENSE_UP_TO", model.size)
    at_limit = equations(model, of_cell).factorised(SCALE, prior)
    monkeypatch.setattr(factor, "DENSE_UP_TO", model.size - 1)
    beyond = equations(model, of_cell).factorised(SCALE, prior)
    assert hasattr(at_limit, "lower")
    assert hasattr(beyond, "border")
