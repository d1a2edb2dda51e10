"""Theil–Sen and Mann–Kendall compared with their papers, tables and brute force."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kendalltau, theilslopes

from analysis.errors import InvalidInput, TooFewTrials
from analysis.trend import debias_best, expected_maximum, mann_kendall, theil_sen

values = st.lists(st.floats(-3, 3), min_size=3, max_size=25)


def test_the_example_of_the_paper():
    # Sen 1968, as scipy.stats.theilslopes has it at 0.93 (check F7)
    slope = theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], confidence=0.93)
    assert slope.slope == 4.0
    assert slope.interval == pytest.approx((3.71, 4.38), abs=0.006)


@given(values)
def test_agrees_with_scipy(y):
    x = np.arange(len(y)) * 1.5
    ours, theirs = theil_sen(x, y), theilslopes(y, x, alpha=0.90)
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-12)
    assert ours.interval == pytest.approx((theirs.low_slope, theirs.high_slope), abs=1e-12)


@pytest.mark.parametrize(
    ("n", "s", "expected"),
    # exact one-sided probabilities by enumeration of all orders (check F15)
    [(4, 6, 0.0417), (4, 4, 0.1667), (5, 8, 0.0417), (5, 10, 0.0083), (6, 9, 0.0681),
     (6, 11, 0.0278), (7, 11, 0.0681), (7, 13, 0.0345)],
)  # fmt: skip
def test_exact_probabilities_of_short_series(n, s, expected):
    series = next(order for order in itertools.permutations(range(n)) if mann_kendall(order).s == s)
    assert mann_kendall(series).p_one_sided == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("series", [[1, 1, 2, 3, 2], [3, 1, 2, 2, 2, 4], [5, 5, 5], [2, 1, 1, 2]])
def test_ties_are_exact_too(series):
    s = mann_kendall(series).s
    orders = [mann_kendall(order).s for order in itertools.permutations(series)]
    share = np.mean([other >= s for other in orders])
    assert mann_kendall(series).p_one_sided == pytest.approx(share)


def test_s_with_ties_in_both_rankings():
    # Kendall 1976, Example 4.3: S = 34 (check F10), S of y in the order of x without x's ties
    y = [2.5, 2.5, 7, 4.5, 1, 4.5, 6, 11.5, 11.5, 8.5, 8.5, 10]
    x = [1.5, 1.5, 3, 4, 6, 6, 6, 8, 9.5, 9.5, 11, 12]
    both = sum(
        np.sign(x[j] - x[i]) * np.sign(y[j] - y[i]) for i in range(12) for j in range(i + 1, 12)
    )
    within = sum(np.sign(y[j] - y[i]) for i in range(12) for j in range(i + 1, 12) if x[i] == x[j])
    assert both == 34
    assert mann_kendall(y).s == 34 + within


@given(st.lists(st.integers(0, 50), min_size=8, max_size=12, unique=True))
def test_agrees_with_scipys_exact_test(y):
    theirs = kendalltau(range(len(y)), y, method="exact", alternative="greater").pvalue
    assert mann_kendall(y).p_one_sided == pytest.approx(theirs)


def test_long_series_go_over_smoothly():
    rising = list(np.arange(40) + 6 * np.random.default_rng(2).normal(size=40))
    exact, approximate = mann_kendall(rising), mann_kendall([*rising, rising[-1] - 3])
    assert exact.p_one_sided == pytest.approx(0, abs=1e-6)
    assert approximate.p_one_sided == pytest.approx(0, abs=1e-6)
    flat = list(np.random.default_rng(5).normal(size=40))
    theirs = kendalltau(range(40), flat, alternative="greater").pvalue
    assert mann_kendall(flat).p_one_sided == pytest.approx(theirs, abs=0.01)


@given(values)
def test_turning_time_round_turns_s(y):
    assert mann_kendall(y[::-1]).s == -mann_kendall(y).s


@given(values, st.floats(0.1, 10))
def test_slope_scales_with_units(y, factor):
    x = np.arange(len(y), dtype=float)
    scaled = theil_sen(x / factor, y).slope
    assert scaled == pytest.approx(factor * theil_sen(x, y).slope, abs=1e-9)


@pytest.mark.parametrize(
    ("count", "expected"),
    # expected largest of k standard normal numbers, tables of normal order statistics [memory]
    [(2, 0.56419), (3, 0.84628), (5, 1.16296), (8, 1.42360), (10, 1.53875), (20, 1.86748)],
)
def test_the_largest_of_many(count, expected):
    assert expected_maximum(count) == pytest.approx(expected, abs=1e-5)


def test_the_best_of_equal_trials_is_brought_back():
    draws = np.exp(np.random.default_rng(3).normal(0, 0.1, (20_000, 8))).max(axis=1)
    brought_back = [debias_best(best, 8, 0.1) for best in draws]
    assert np.exp(np.mean(np.log(brought_back))) == pytest.approx(1.0, abs=0.002)


def test_values_without_a_trend_are_refused():
    with pytest.raises(TooFewTrials):
        theil_sen([1, 1], [2, 3])
    with pytest.raises(TooFewTrials):
        mann_kendall([1])
    for wrong in ([1, math.nan], [math.inf, 2]):
        with pytest.raises(InvalidInput):
            theil_sen([1, 2], wrong)
        with pytest.raises(InvalidInput):
            mann_kendall(wrong)
