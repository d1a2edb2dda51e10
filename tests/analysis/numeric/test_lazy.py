"""Test sequences that build their items on access, against lists; and words by condition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.numeric.lazy import LazySequence, first_words


class Squares(LazySequence):
    """The squares of numbers; notes which it was asked to make."""

    def __init__(self, numbers):
        self.numbers, self.made_at = numbers, []

    def __len__(self):
        return len(self.numbers)

    def item(self, at):
        self.made_at.append(at)
        return self.numbers[at] ** 2


NUMBERS = st.lists(st.integers(-9, 9), max_size=8)
BOUNDS = st.none() | st.integers(-10, 10)


class TestSequence:
    @pytest.mark.parametrize("at", [3, -4, 100])
    def test_an_invalid_position_is_refused_and_builds_no_item(self, at):
        squares = Squares([1, 2, 3])
        with pytest.raises(IndexError):
            squares[at]
        assert squares.made_at == []

    def test_a_sequence_without_item_cannot_be_created(self):
        with pytest.raises(TypeError, match="abstract"):
            LazySequence()

    @given(NUMBERS, BOUNDS, BOUNDS, BOUNDS.filter(lambda step: step != 0))
    def test_a_part_is_that_of_a_list(self, numbers, start, stop, step):
        expected = [each**2 for each in numbers]
        assert Squares(numbers)[start:stop:step] == expected[start:stop:step]

    @given(NUMBERS)
    def test_all_that_is_asked_of_a_list_has_the_same_answer(self, numbers):
        squares, expected = Squares(numbers), [each**2 for each in numbers]
        assert len(squares) == len(expected)
        assert list(squares) == expected
        assert list(reversed(squares)) == expected[::-1]
        assert [squares[-1 - at] for at in range(len(numbers))] == expected[::-1]
        for each in range(82):
            assert (each in squares) == (each in expected)
            assert squares.count(each) == expected.count(each)
            if each in expected:
                assert squares.index(each) == expected.index(each)

    def test_only_accessed_items_are_built(self):
        squares = Squares(list(range(1000)))
        assert (squares[7], squares[-1], squares[2:4]) == (49, 998_001, [4, 9])
        assert squares.made_at == [7, 999, 2, 3]


class TestWords:
    @given(st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), max_size=9))
    def test_the_first_condition_that_holds_has_the_word(self, rows):
        words = ["cold", "dry", "cold"]
        conditions = [np.array([row[at] for row in rows], dtype=bool) for at in range(3)]
        expected = [next((w for w, holds in zip(words, row, strict=True) if holds), "")
                    for row in rows]  # fmt: skip
        assert first_words(conditions, words).tolist() == expected

    def test_equal_words_are_one_object(self):
        """A million rows of one long word take the room of a million addresses."""
        long = "x" * 1000
        column = first_words([np.ones(3, dtype=bool)], [long])
        assert all(each is long for each in column)
        assert column.itemsize == np.dtype(object).itemsize
