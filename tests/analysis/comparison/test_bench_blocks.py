"""A bench's block compared with the dense equations of all its unknowns, and by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.comparison.bench_blocks import eliminated
from analysis.comparison.design import NOWHERE, BenchCells
from analysis.errors import InvalidInput

FEW = settings(max_examples=40)


def test_what_rounding_leaves_undecided_is_refused():
    """Two unknowns only ever seen together, weighed so heavily that their priors round away."""
    cells = BenchCells(np.array([[0, 1, -2], [0, 1, -2]]), np.ones((2, 3)))
    with pytest.raises(InvalidInput, match="weighed"):
        eliminated(cells, np.full(2, 2.0**99), np.full(2, 0.1))


@pytest.mark.parametrize("bad", [-2.0, -1.0])
def test_an_unknown_that_nothing_holds_is_refused(bad):
    cells = BenchCells(np.array([[0, -2]]), np.ones((1, 2)))
    with pytest.raises(InvalidInput, match="weighed"):
        eliminated(cells, np.ones(1), np.array([bad]))


@st.composite
def benches(draw):
    """Return a bench's cells with their weights, and the prior precision of its own unknowns."""
    width, others = draw(st.integers(1, 5)), draw(st.integers(1, 3))
    # Every own and shared unknown once, with numbers of shared ones that the bench skips.
    unknowns = [*range(width), *(NOWHERE - 1 - 2 * at for at in range(others))]
    rows = []
    for _ in range(draw(st.integers(1, 12))):
        some = draw(st.lists(st.sampled_from(unknowns), unique=True, max_size=4))
        rows.append(draw(st.permutations(some + [NOWHERE] * (4 - len(some)))))
    weight = draw(st.lists(st.floats(0.1, 900), min_size=len(rows), max_size=len(rows)))
    prior = draw(st.lists(st.floats(0.1, 900), min_size=width, max_size=width))
    values = draw(arrays(float, (len(rows), 4), elements=st.floats(-2, 2)))
    return BenchCells(np.array(rows), values), np.array(weight), np.array(prior)


def written_out(cells, width):
    """Return the values of each cell, with a column for each own unknown and each shared one."""
    shared = sorted({NOWHERE - 1 - at for at in cells.columns.ravel().tolist() if at < NOWHERE})
    places = [*range(width), *(NOWHERE - 1 - at for at in shared)]
    x = np.zeros((len(cells.columns), len(places)))
    for row, column in np.argwhere(cells.columns != NOWHERE):
        x[row, places.index(cells.columns[row, column])] = cells.values[row, column]
    return shared, x


class TestAgainstOneDenseMatrix:
    @FEW
    @given(benches())
    def test_elimination_and_determinant(self, bench):
        cells, weight, prior = bench
        width = len(prior)
        block, (shared, x) = eliminated(cells, weight, prior), written_out(cells, width)
        dense = x.T @ np.diag(weight) @ x
        own, coupling = dense[:width, :width] + np.diag(prior), dense[:width, width:]
        pull = np.linalg.solve(own, coupling)
        assert block.shared.tolist() == shared
        assert block.inverse == pytest.approx(np.linalg.inv(own), rel=1e-7, abs=1e-12)
        assert block.pull == pytest.approx(pull, rel=1e-7, abs=1e-11)
        left = dense[width:, width:] - coupling.T @ pull
        assert block.left == pytest.approx(left, rel=1e-7, abs=1e-9)
        assert block.log_determinant == pytest.approx(np.linalg.slogdet(own)[1], abs=1e-9)

    @FEW
    @given(benches(), st.integers(0, 99))
    def test_solutions_if_shared_unknowns_are_0(self, bench, seed):
        cells, weight, prior = bench
        x = written_out(cells, len(prior))[1][:, : len(prior)]
        own = x.T @ np.diag(weight) @ x + np.diag(prior)
        right = np.random.default_rng(seed).normal(size=len(prior))
        block = eliminated(cells, weight, prior)
        for each in (right, right, 2 * right):  # what is remembered of the first is not the third's
            solved, left = block.solve(each)
            assert solved == pytest.approx(np.linalg.solve(own, each), rel=1e-8, abs=1e-11)
            assert left == pytest.approx(each @ block.pull)

    @FEW
    @given(benches())
    def test_variance_of_each_cell_with_shared_unknowns_of_independent_priors(self, bench):
        """The covariance of all unknowns is the inverse of all equations."""
        cells, weight, prior = bench
        width, (shared, x) = len(prior), written_out(cells, len(prior))
        every = np.concatenate([prior, np.ones(len(shared))])
        inverse = np.linalg.inv(x.T @ np.diag(weight) @ x + np.diag(every))
        of_shared = np.zeros((7, 7))
        of_shared[np.ix_(shared, shared)] = inverse[width:, width:]
        variances = eliminated(cells, weight, prior).cell_variances(of_shared)
        assert variances == pytest.approx(np.diag(x @ inverse @ x.T), rel=1e-7, abs=1e-12)


def test_one_by_hand():
    """Own [[3, 1], [1, 2]] has the determinant 5; the shared one keeps 1 - [1, 0] A⁻¹ [1, 0]."""
    cells = BenchCells(np.array([[0, 1, NOWHERE], [0, NOWHERE, -2]]), np.ones((2, 3)))
    block = eliminated(cells, np.array([1.0, 1.0]), np.array([1.0, 1.0]))
    assert np.exp(block.log_determinant) == pytest.approx(5)
    assert block.inverse == pytest.approx(np.array([[0.4, -0.2], [-0.2, 0.6]]))
    assert block.pull == pytest.approx(np.array([[0.4], [-0.2]]))
    assert block.left == pytest.approx(np.array([[0.6]]))
    solved, left = block.solve(np.array([5.0, 5.0]))
    assert solved == pytest.approx([1, 2])
    assert left == pytest.approx([1])


class TestIsOf:
    cells, weight, prior = BenchCells(np.array([[0, -2]]), np.ones((1, 2))), np.ones(1), np.ones(1)

    def test_the_same_equations(self):
        block = eliminated(self.cells, self.weight, self.prior)
        copied = BenchCells(self.cells.columns.copy(), self.cells.values.copy())
        assert block.is_of(copied, self.weight.copy(), self.prior.copy())

    @pytest.mark.parametrize(
        "other",
        [
            pytest.param((cells, 2 * weight, prior), id="another weight"),
            pytest.param((cells, weight, 2 * prior), id="another prior"),
            pytest.param((BenchCells(np.array([[0, -3]]), np.ones((1, 2))), weight, prior),
                         id="another shared unknown"),
            pytest.param((BenchCells(cells.columns, 2 * cells.values), weight, prior),
                         id="another value"),
            pytest.param((BenchCells(np.array([[0, -2]] * 2), np.ones((2, 2))), np.ones(2), prior),
                         id="another cell"),
        ],
    )  # fmt: skip
    def test_other_equations(self, other):
        assert not eliminated(self.cells, self.weight, self.prior).is_of(*other)


@FEW
@given(st.integers(0, 10_000))
def test_weights_very_far_apart_leave_as_small_a_rest_as_elimination(seed):
    """What a solution leaves of the right-hand side, in the size of both: a few roundings.

    A solution by the inverse leaves up to ten million of them.
    """
    draw = np.random.default_rng(seed)
    columns = np.array([draw.permutation(6)[:3] for _ in range(12)])
    weight, prior = 10.0 ** draw.uniform(0, 8, 12), 10.0 ** draw.uniform(-1, 2, 6)
    cells = BenchCells(columns, np.ones((12, 3)))
    _, x = written_out(cells, 6)
    dense = x.T @ np.diag(weight) @ x + np.diag(prior)
    right = dense @ draw.normal(size=6)
    solution, _ = eliminated(cells, weight, prior).solve(right)
    size = np.abs(dense).sum(axis=1).max() * np.abs(solution).max() + np.abs(right).max()
    assert np.abs(right - dense @ solution).max() <= 8 * np.finfo(float).eps * size
