"""Where the fit of a large season begins: each trial's place among those of the fit before."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.comparison.design import Spread
from api.services.season import fit_start


def ids(*names, **values):
    columns = {name: np.zeros(len(names)) for name in (*fit_start.NUMBERS, *fit_start.NAMES)}
    return columns | {"trial_id": np.array(names, dtype=object)} | values


def fit(*weights, aside=(), is_estimated=True):
    is_aside = np.isin(np.arange(len(weights)), aside)
    return SimpleNamespace(
        weights=np.array(weights), is_aside=is_aside, spread=Spread(), is_estimated=is_estimated
    )


@pytest.fixture(autouse=True)
def _small_seasons_are_large(monkeypatch):
    monkeypatch.setattr(fit_start, "LARGE_SEASON", 3)
    monkeypatch.setattr(fit_start, "MOST_CHANGED", 0.5)


def test_a_small_season_is_fitted_from_nothing():
    assert fit_start.start_at(fit(0.5, 1), ids("a", "b"), ids("a", "b"), 0) is None


def test_after_many_steps_the_spreads_are_estimated_again():
    trials = ids("a", "b", "c")
    one = fit(0.5, 1, 1)
    assert fit_start.start_at(one, trials, trials, fit_start.MOST_STEPS) is None
    assert fit_start.start_at(one, trials, trials, 0).steps == 1


def test_where_much_changed_it_begins_from_nothing():
    before = fit(0.5, 1, 1, 1)
    assert fit_start.start_at(before, ids(*"abcd"), ids(*"axyz"), 0) is None


@pytest.mark.parametrize(
    ("newer", "expected"),
    [("abcd", [0.1, 0.2, 0.3, 0.4]), ("abcde", [0.1, 0.2, 0.3, 0.4, 1]),
     ("Aabcd", [1, 0.1, 0.2, 0.3, 0.4]), ("abd", [0.1, 0.2, 0.4]), ("bcd", [0.2, 0.3, 0.4]),
     ("abBcd", [0.1, 0.2, 1, 0.3, 0.4]), ("abCd", [0.1, 0.2, 1, 0.4])],
)  # fmt: skip
def test_each_trial_keeps_its_weight_and_a_new_one_counts_in_full(newer, expected):
    begun = fit_start.start_at(fit(0.1, 0.2, 0.3, 0.4), ids(*"abcd"), ids(*newer), 0)
    assert begun.start.weights.tolist() == expected


def test_a_trial_that_was_set_aside_is_judged_again():
    trials = ids(*"abcd")
    begun = fit_start.start_at(fit(0.0, 0.2, 0.3, 0.4, aside=(0,)), trials, trials, 0)
    assert begun.start.weights.tolist() == [1, 0.2, 0.3, 0.4]


def test_spreads_that_were_assumed_are_not_kept():
    trials = ids(*"abcd")
    one = fit(1, 1, 1, 1, is_estimated=False)
    assert fit_start.start_at(one, trials, trials, 0) is None


@pytest.mark.parametrize("column", [*fit_start.NUMBERS, *fit_start.NAMES])
def test_trials_with_other_values_count_as_changed(column):
    one, before = fit(1, 1, 1, 1), ids(*"abcd")
    few = ids(*"abcd", **{column: np.array([0, 0, 0, 1.0])})
    many = ids(*"abcd", **{column: np.array([0, 1.0, 1.0, 1.0])})
    assert fit_start.start_at(one, before, few, 0) is not None
    assert fit_start.start_at(one, before, many, 0) is None
