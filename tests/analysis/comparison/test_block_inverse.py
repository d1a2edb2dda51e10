"""Block-diagonal matrices compared with one dense matrix, and by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.linalg import block_diag

from analysis.comparison.block_inverse import Blocks
from analysis.errors import InvalidInput

FEW = settings(max_examples=40)


def test_what_rounding_leaves_undecided_is_refused():
    """Two unknowns only ever seen together, weighed so heavily that their priors round away."""
    blocks = Blocks(np.array([2]), np.array([[0, 1], [0, 1]]), np.ones((2, 2)))
    with pytest.raises(InvalidInput, match="weighed"):
        blocks.inverted(np.full(2, 2.0**99), np.full(2, 0.1))


@pytest.mark.parametrize("bad", [-1.0, 0.0])
def test_an_unknown_that_nothing_holds_is_refused(bad):
    blocks = Blocks(np.array([1, 2]), np.array([[0], [0]]), np.ones((2, 1)))
    with pytest.raises(InvalidInput, match="weighed"):
        blocks.inverted(np.ones(2), np.array([1.0, bad]))


@st.composite
def blocks_and_rows(draw):
    """Return block ends, rows of unknowns of one block each, values, weights and a diagonal."""
    widths = draw(st.lists(st.integers(1, 4), min_size=1, max_size=5))
    ends = np.cumsum(widths).tolist()
    rows = []
    for _ in range(draw(st.integers(1, 12))):
        block = draw(st.integers(0, len(widths) - 1))
        inside = range(ends[block] - widths[block], ends[block])
        some = draw(st.lists(st.sampled_from(inside), unique=True, max_size=3))
        outside = st.sampled_from([-1, ends[-1], ends[-1] + 3])
        rows.append(draw(st.permutations(some + [draw(outside) for _ in range(4 - len(some))])))
    weight = draw(st.lists(st.floats(0.1, 900), min_size=len(rows), max_size=len(rows)))
    diagonal = draw(st.lists(st.floats(0.1, 900), min_size=ends[-1], max_size=ends[-1]))
    values = draw(arrays(float, (len(rows), 4), elements=st.floats(-2, 2)))
    return np.array(ends), np.array(rows), values, np.array(weight), np.array(diagonal)


def written_out(ends, columns, values, weight, diagonal):
    """Return Σ weight·xxᵀ + diagonal with a column for each unknown."""
    x = np.zeros((len(columns), ends[-1]))
    for row, column in np.argwhere((columns >= 0) & (columns < ends[-1])):
        x[row, columns[row, column]] = values[row, column]
    return x.T @ np.diag(weight) @ x + np.diag(diagonal)


class TestAgainstOneDenseMatrix:
    @FEW
    @given(blocks_and_rows())
    def test_matrix_inverse_and_determinant(self, given_blocks):
        ends, columns, values, weight, diagonal = given_blocks
        inverted = Blocks(ends, columns, values).inverted(weight, diagonal)
        dense = written_out(*given_blocks)
        assert inverted.matrix.toarray() == pytest.approx(dense, rel=1e-12)
        assert inverted.inverse.toarray() == pytest.approx(
            np.linalg.inv(dense), rel=1e-7, abs=1e-12
        )
        assert inverted.log_determinant == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-9)

    @FEW
    @given(blocks_and_rows(), st.integers(0, 99))
    def test_solutions_of_one_and_of_several_right_hand_sides(self, given_blocks, seed):
        ends, columns, values, weight, diagonal = given_blocks
        inverted = Blocks(ends, columns, values).inverted(weight, diagonal)
        dense = written_out(*given_blocks)
        right = np.random.default_rng(seed).normal(size=(ends[-1], 3))
        expected = np.linalg.solve(dense, right)
        assert inverted.solve(right) == pytest.approx(expected, rel=1e-8, abs=1e-11)
        assert inverted.solve(right[:, 0]) == pytest.approx(expected[:, 0], rel=1e-8, abs=1e-11)

    @FEW
    @given(blocks_and_rows())
    def test_nothing_is_stored_outside_the_blocks(self, given_blocks):
        ends, columns, values, weight, diagonal = given_blocks
        inverted = Blocks(ends, columns, values).inverted(weight, diagonal)
        inside = block_diag(*(np.ones((w, w)) for w in np.diff(ends, prepend=0)))
        assert inverted.inverse.nnz == inside.sum()
        assert np.all(inverted.inverse.toarray()[inside == 0] == 0)


def test_two_blocks_by_hand():
    """[[3, 1], [1, 2]] has the determinant 5 and the inverse [[2, -1], [-1, 3]]/5; 5 has 1/5."""
    blocks = Blocks(np.array([2, 3]), np.array([[0, 1, -1], [2, -1, 3]]), np.ones((2, 3)))
    inverted = blocks.inverted(np.array([1.0, 4.0]), np.array([2.0, 1.0, 1.0]))
    assert inverted.matrix.toarray().tolist() == [[3, 1, 0], [1, 2, 0], [0, 0, 5]]
    assert inverted.inverse.toarray() == pytest.approx(
        np.array([[0.4, -0.2, 0], [-0.2, 0.6, 0], [0, 0, 0.2]])
    )
    assert np.exp(inverted.log_determinant) == pytest.approx(25)
    assert inverted.solve(np.array([5.0, 5.0, 5.0])) == pytest.approx([1, 2, 1])


@FEW
@given(st.integers(0, 10_000))
def test_weights_very_far_apart_leave_as_small_a_rest_as_elimination(seed):
    """What a solution leaves of the right-hand side, in the size of both: 2 or 3 roundings.

    The inverse without refinement leaves up to ten million of them.
    """
    draw = np.random.default_rng(seed)
    columns = np.array([draw.permutation(6)[:3] for _ in range(12)])
    weight, diagonal = 10.0 ** draw.uniform(0, 8, 12), 10.0 ** draw.uniform(-1, 2, 6)
    ones = np.ones((12, 3))
    inverted = Blocks(np.array([6]), columns, ones).inverted(weight, diagonal)
    dense = written_out(np.array([6]), columns, ones, weight, diagonal)
    right = dense @ draw.normal(size=6)
    solution = inverted.solve(right)
    size = np.abs(dense).sum(axis=1).max() * np.abs(solution).max() + np.abs(right).max()
    assert np.abs(right - dense @ solution).max() <= 4 * np.finfo(float).eps * size
