"""Compare groups of rows with those of pandas, and test groups without rows."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.numeric.groups import Groups, are_among, group_by, pair_up

FEW = settings(max_examples=40)
WORDS = st.sampled_from(["b", "a", "", "Żak", "aa"])
NUMBERS = st.floats(-1e3, 1e3)
#: Long runs of one key, like the trials of a session, and keys that alternate.
ROWS = st.lists(st.tuples(WORDS, NUMBERS), max_size=20).map(
    lambda rows: [row for at, row in enumerate(rows) for _ in range(1 + at % 3)]
)
SUMMARIES = {"sum": "sum", "mean": "mean", "largest": "max", "smallest": "min"}


def framed(rows):
    return pd.DataFrame(rows, columns=["key", "value"]).astype({"value": float})


def keyed(frame, kind=object):
    return group_by(np.array(frame["key"].tolist(), dtype=kind))


class TestAgainstPandas:
    @pytest.mark.parametrize("kind", [object, "U3"])
    @FEW
    @given(rows=ROWS)
    def test_labels_and_codes(self, kind, rows):
        frame = framed(rows)
        codes, labels = pd.factorize(frame["key"], sort=True)
        groups = keyed(frame, kind)
        assert groups.labels.tolist() == labels.tolist()
        assert groups.codes.tolist() == codes.tolist()
        assert groups.size == len(labels)

    @FEW
    @given(st.lists(st.integers(-3, 3) | st.just(math.nan), max_size=20))
    def test_labels_of_numbers_of_which_those_missing_are_one_group_at_the_end(self, keys):
        numbers = np.array(keys, dtype=float)
        codes, labels = pd.factorize(numbers, sort=True, use_na_sentinel=False)
        groups = group_by(numbers)
        assert groups.labels.tolist() == pytest.approx(labels.tolist(), nan_ok=True)
        assert groups.codes.tolist() == codes.tolist()

    @pytest.mark.parametrize("name", SUMMARIES)
    @FEW
    @given(rows=ROWS)
    def test_sums_means_and_extremes(self, name, rows):
        frame = framed(rows)
        theirs = getattr(frame.groupby("key")["value"], SUMMARIES[name])()
        ours = getattr(keyed(frame), name)(frame["value"].to_numpy())
        assert ours.tolist() == pytest.approx(theirs.tolist(), rel=1e-12, abs=1e-9)

    @FEW
    @given(ROWS)
    def test_counts_and_standard_deviations(self, rows):
        """A single row has no deviation: NaN in pandas, 0 here."""
        frame = framed(rows)
        by, groups = frame.groupby("key")["value"], keyed(frame)
        assert groups.count().tolist() == by.count().tolist()
        ours = groups.standard_deviation(frame["value"].to_numpy())
        assert ours.tolist() == pytest.approx(by.std().fillna(0).tolist(), rel=1e-9, abs=1e-9)

    @FEW
    @given(st.lists(st.tuples(WORDS, NUMBERS | st.just(math.nan)), max_size=20))
    def test_means_of_known_values(self, rows):
        frame = framed(rows)
        theirs = frame.groupby("key")["value"].mean().tolist()
        ours = keyed(frame).known_mean(frame["value"].to_numpy())
        assert ours.tolist() == pytest.approx(theirs, rel=1e-12, abs=1e-9, nan_ok=True)

    @FEW
    @given(st.lists(st.tuples(WORDS, st.integers(0, 3)), max_size=20))
    def test_first_rows_and_first_rows_of_the_largest(self, rows):
        frame = framed(rows)
        first = frame.reset_index().groupby("key")["index"].first()
        groups = keyed(frame)
        assert groups.one_of_each().tolist() == first.tolist()
        largest = frame.groupby("key")["value"].idxmax()
        assert groups.first_largest(frame["value"].to_numpy()).tolist() == largest.tolist()

    @FEW
    @given(st.lists(st.tuples(WORDS, st.integers(0, 3)), max_size=20))
    def test_pairs(self, rows):
        frame = framed(rows)
        one, other = keyed(frame), group_by(frame["value"].to_numpy())
        pairs = pair_up(one, other)
        theirs = frame.groupby(["key", "value"])
        assert list(zip(one.labels[pairs.one], other.labels[pairs.other], strict=True)) == list(
            theirs.groups
        )
        assert pairs.count.tolist() == theirs.size().tolist()
        assert pairs.codes.tolist() == theirs.ngroup().tolist()

    @FEW
    @given(st.lists(WORDS, max_size=20), st.sets(WORDS))
    def test_words_among_some(self, words, wanted):
        mask = are_among(np.array(words, dtype=object), wanted)
        assert mask.dtype == bool
        assert mask.tolist() == pd.Series(words, dtype=object).isin(wanted).tolist()


class TestEmptyGroups:
    """Three trials, of which the middle one has no runs."""

    GROUPS = Groups(np.arange(3), np.array([0, 2, 2]))
    VALUES = np.array([1.0, 2.0, 4.0])

    def test_the_mean_without_rows_is_not_known(self):
        assert self.GROUPS.count().tolist() == [1, 0, 2]
        assert self.GROUPS.sum(self.VALUES).tolist() == [1, 0, 6]
        assert self.GROUPS.mean(self.VALUES).tolist() == pytest.approx(
            [1, math.nan, 3], nan_ok=True
        )
        assert self.GROUPS.standard_deviation(self.VALUES).tolist() == pytest.approx(
            [0, 0, math.sqrt(2)]
        )

    def test_extremes_without_rows_are_infinite(self):
        assert self.GROUPS.largest(self.VALUES).tolist() == [1, -math.inf, 4]
        assert self.GROUPS.smallest(self.VALUES).tolist() == [1, math.inf, 2]

    def test_where_no_value_is_known_no_mean_is(self):
        nothing = np.full(3, math.nan)
        assert np.isnan(self.GROUPS.known_mean(nothing)).all()
        part = self.GROUPS.known_mean(np.array([math.nan, 2.0, math.inf]))
        assert part.tolist() == pytest.approx([math.nan, math.nan, 2.0], nan_ok=True)

    def test_no_rows_make_no_groups(self):
        none = group_by(np.array([], dtype=object))
        assert (none.size, none.codes.tolist(), none.sum(np.array([])).dtype) == (0, [], float)
        assert pair_up(none, none).count.tolist() == []


def test_a_caller_cannot_change_a_count():
    counts = group_by(np.array(["a", "b"])).count()
    with pytest.raises(ValueError, match="read-only"):
        counts[0] = 9
