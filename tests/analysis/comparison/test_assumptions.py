"""What an assumption changes: a larger spread over benches makes comparisons less sure."""

import numpy as np
import pytest

from analysis.comparison.assumptions import change_of, pairs_with_interaction
from analysis.comparison.fit import fit_season
from analysis.comparison.pairs import Pair, compare_all
from tests.support.seasons_of_builds import two_schools


def pair(probability):
    return Pair("a", "b", "yes", probability, "too_close", 0.1, None)


def test_an_unknown_comparison_has_no_change():
    assert change_of(pair(None), pair(0.6)) is None
    assert change_of(pair(0.6), pair(None)) is None


def test_the_build_that_is_ahead_comes_first():
    change = change_of(pair(0.2), pair(0.45))
    assert (change.a, change.b) == ("b", "a")
    assert (change.before, change.after) == pytest.approx((0.8, 0.55))


def test_the_same_interaction_changes_nothing():
    trials = two_schools()
    fit = fit_season(trials)
    [change] = pairs_with_interaction(trials, fit, [("a", "b")], fit.spread.interaction)
    assert change.before == pytest.approx(change.after, abs=1e-9)


def test_twice_the_interaction_by_the_definition_of_its_variance():
    """Two builds and the rotor at two benches have four interactions in their difference.

    With free effects of builds and benches the difference has the variance of the trials plus four
    times that of an interaction; priors draw the estimate in by little here.
    """
    trials = two_schools()
    fit = fit_season(trials)
    [change] = pairs_with_interaction(trials, fit, [("a", "b")], 0.10)
    again = fit_season(trials, spread=fit.spread.__class__(interaction=0.10))
    u_before, u_after = (each.u_difference("a", "b") for each in (fit, again))
    assert u_after**2 - u_before**2 == pytest.approx(4 * (0.10**2 - 0.05**2), rel=0.25)
    assert change.after == pytest.approx(compare_all(again, ["a", "b"])[0].probability_a_ahead)
    assert 0.5 < change.after < change.before


def test_one_rotor_by_itself_tells_nothing_of_the_interaction():
    trials = two_schools(benches=6)
    assert fit_season(trials).is_estimated
    assert not fit_season(trials).is_interaction_estimated


def test_a_visitor_and_the_rotor_tell_something():
    trials = two_schools(benches=6)
    visits = {name: np.concatenate([column, column[:1]]) for name, column in trials.items()}
    visits["bench_id"][-1] = trials["bench_id"][-1]
    assert fit_season(visits).is_interaction_estimated
