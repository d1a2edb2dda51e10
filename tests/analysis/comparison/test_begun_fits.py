"""A fit that begins at an earlier one of almost the same trials, compared with one from nothing."""

import numpy as np
import pytest

from analysis.comparison import factor
from analysis.comparison.fit import Start, fit_season
from tests.bench.calibration.comparison import columns_of
from tests.bench.calibration.scenarios import SCENARIOS
from tests.bench.calibration.seasons import drawn
from tests.support.season_designs import one_bench


def apart(one, other):
    """Return how far two fits differ, over the uncertainty of each build's difference to one."""
    first, ours, theirs = other.build_ids[0], one.effects, other.effects
    return max(
        abs((ours[build] - ours[first]) - (theirs[build] - theirs[first])) / max(u, 1e-6)
        for build, u in other.u_differences(first).items()
    )


def scenario(name, seed):
    (of,) = (each for each in SCENARIOS if each.name == name)
    return columns_of(drawn(of, seed))[0]


def rows_of(trials, which):
    return {name: np.asarray(column)[which] for name, column in trials.items()}


@pytest.fixture(params=["as one matrix", "in blocks"])
def way(request, monkeypatch):
    if request.param == "in blocks":
        monkeypatch.setattr(factor, "DENSE_UP_TO", 0)


@pytest.mark.usefixtures("way")
class TestBegunAtAnEarlierFit:
    """A fit that begins at one of almost the same trials is the fit from nothing, nearly."""

    @pytest.mark.parametrize("name", ["base", "heavy tails", "3 % mistakes"])
    @pytest.mark.parametrize("seed", [1, 2])
    def test_with_a_hundredth_of_the_trials_new(self, name, seed):
        """Within 0.03 of the uncertainty of each difference; the stated limit is 0.05."""
        trials, draw = scenario(name, seed), np.random.default_rng(seed)
        count = len(trials["log_power"])
        earlier = np.ones(count, dtype=bool)
        earlier[draw.choice(count, count // 100, replace=False)] = False
        before = fit_season(rows_of(trials, earlier))
        weights = np.ones(count)
        weights[earlier] = before.weights
        begun = fit_season(trials, start=Start(weights, before))
        fresh = fit_season(trials)
        assert begun.is_aside.tolist() == fresh.is_aside.tolist()
        assert apart(begun, fresh) <= 0.03

    def test_a_trial_that_is_as_expected_after_all_counts_again(self):
        """What contradicted it was corrected."""
        trials = one_bench((7, 1.2))
        before = fit_season(trials)
        assert before.is_aside[7]
        corrected = one_bench()
        begun = fit_season(corrected, start=Start(before.weights, before))
        assert not begun.is_aside.any()
        assert begun.weights[7] > 0

    def test_a_trial_that_somebody_confirmed_counts_again(self):
        trials = one_bench((7, 1.2))
        before = fit_season(trials)
        trials["is_confirmed"] = np.arange(40) == 7
        begun = fit_season(trials, start=Start(before.weights, before))
        assert not begun.is_aside.any()
        assert begun.weights[7] > 0
