"""Where the fit of a large season begins: each trial's place among those of the fit before."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.comparison import factor
from analysis.comparison.fit import fit_season
from api.services.season import fit_start
from tests.bench.calibration.comparison import columns_of
from tests.bench.calibration.scenarios import SCENARIOS
from tests.bench.calibration.seasons import drawn


def ids(*names, **values):
    columns = {name: np.zeros(len(names)) for name in (*fit_start.NUMBERS, *fit_start.NAMES)}
    return columns | {"trial_id": np.array(names, dtype=object)} | values


def fit(*weights, is_estimated=True):
    weights = np.array(weights)
    return SimpleNamespace(weights=weights, is_aside=weights == 0, is_estimated=is_estimated)


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


def test_a_trial_with_other_values_counts_in_full_until_it_is_judged():
    other = ids(*"abcd", log_power=np.array([0, 1.0, 0, 0]))
    begun = fit_start.start_at(fit(0.2, 0.1, 0.3, 0.4), ids(*"abcd"), other, 0)
    assert begun.start.weights.tolist() == [0.2, 1, 0.3, 0.4]


@pytest.mark.parametrize("newer", ["abcd", "bcd"])
def test_trials_set_aside_are_judged_again_where_something_changed(newer):
    """Only those at the bench of a trial that is missing now."""
    places = {"a": "x", "b": "x", "c": "y", "d": "y"}

    def at_benches(names):
        benches = np.array([places[each] for each in names], dtype=object)
        return ids(*names, bench_id=benches)

    before = fit(0.5, 0.0, 0.0, 0.4)
    begun = fit_start.start_at(before, at_benches("abcd"), at_benches(newer), 0)
    same = {"abcd": [0.5, 0, 0, 0.4], "bcd": [1, 0, 0.4]}
    assert begun.start.weights.tolist() == same[newer]


def differing(one, other):
    """Return how far two fits differ, over the uncertainty of each build's difference to one."""
    first, ours, theirs = other.build_ids[0], one.effects, other.effects
    return max(
        abs((ours[build] - ours[first]) - (theirs[build] - theirs[first])) / max(u, 1e-6)
        for build, u in other.u_differences(first).items()
    )


@pytest.mark.parametrize("dense_up_to", [0, 10_000], ids=["in blocks", "as one matrix"])
@pytest.mark.parametrize("name", ["base", "heavy tails", "3 % mistakes"])
@pytest.mark.parametrize("seed", [3, 4, 5])
def test_after_fifty_steps_it_is_the_fit_from_nothing(name, seed, dense_up_to, monkeypatch):
    """Trials are added, corrected and left out; the spreads are those of the last one.

    The same are set aside, and each build is within 0.03 of its uncertainty; 0.05 is stated.
    """
    monkeypatch.setattr(factor, "DENSE_UP_TO", dense_up_to)
    (of,) = (each for each in SCENARIOS if each.name == name)
    trials, draw = columns_of(drawn(of, seed))[0], np.random.default_rng(seed)
    count = len(trials["log_power"])
    trials |= {"trial_id": np.array([f"{at:04d}" for at in range(count)], dtype=object),
               "is_confirmed": np.zeros(count, dtype=bool),
               "log_power": trials["log_power"].copy()}  # fmt: skip
    counts = np.ones(count, dtype=bool)
    counts[draw.choice(count, 20, replace=False)] = False

    def columns():
        return {name: np.asarray(column)[counts] for name, column in trials.items()}

    before, steps = columns(), 0
    begun = fit_season(before)
    for _ in range(fit_start.MOST_STEPS):
        at = draw.integers(count)
        trials["log_power"][at] += draw.normal(0, 0.1)
        counts[at] = not counts[at] or draw.random() < 0.5
        now = columns()
        start = fit_start.start_at(begun, before, now, steps)
        before, begun, steps = now, fit_season(now, start=start.start), start.steps
    fresh = fit_season(before, spread=begun.spread)
    assert begun.is_aside.tolist() == fresh.is_aside.tolist()
    assert differing(begun, fresh) <= 0.03


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
