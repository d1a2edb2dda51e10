"""Each trial predicted from all others, against fits that truly leave it out."""

import numpy as np
import pytest

from analysis.comparison import factor
from analysis.comparison.design import Model, Spread
from analysis.comparison.odd_trials import FALSELY_A_SEASON, predicted_off, set_aside
from analysis.comparison.solver import Solution, WeightedTrials
from analysis.numeric.groups import group_by
from tests.support.season_designs import travelling


@pytest.fixture(params=[0, 1_000], ids=["in blocks", "as one matrix"], autouse=True)
def way(request, monkeypatch):
    monkeypatch.setattr(factor, "DENSE_UP_TO", request.param)


def drawn(seed=3):
    """Return a model of 60 trials, their ln power, weights and scatter."""
    draw = np.random.default_rng(seed)
    y, scatter = draw.normal(-3, 0.1, 60), draw.uniform(0.03, 0.06, 60)
    return Model(travelling(draw)), y, draw.uniform(0.4, 1.0, 60) / scatter**2, scatter


def test_prediction_is_that_of_a_fit_without_the_trial():
    model, y, weight, scatter = drawn()
    off, z = predicted_off(Solution(WeightedTrials(model, y, weight), Spread()), weight, scatter)
    for left_out in range(0, 60, 7):
        others = np.where(np.arange(60) == left_out, 0.0, weight)
        without = Solution(WeightedTrials(model, y, others), Spread())
        u = np.sqrt(scatter[left_out] ** 2 + without.fit_variances()[left_out])
        assert off[left_out] == pytest.approx(without.residuals[left_out], rel=1e-6)
        assert z[left_out] == pytest.approx(without.residuals[left_out] / u, rel=1e-6)


def test_a_trial_that_is_left_out_already_is_predicted_as_it_is():
    model, y, weight, scatter = drawn()
    weight[5] = 0.0
    solution = Solution(WeightedTrials(model, y, weight), Spread())
    off, _ = predicted_off(solution, weight, scatter)
    assert off[5] == pytest.approx(solution.residuals[5])


class TestSetAside:
    def aside(self, z, builds, before=None, alone=0.05):
        z = np.array(z, dtype=float)
        was = np.zeros(len(z), dtype=bool) if before is None else np.array(before)
        return set_aside(
            alone * z, z, np.full(len(z), alone), group_by(np.array(builds)), was
        ).tolist()  # fmt: skip

    def test_beyond_3_2_in_a_small_season(self):
        assert self.aside([3.19, -3.21, 0.0], ["a", "a", "a"]) == [False, True, False]

    def test_where_a_tenth_is_odd_the_model_does_not_fit(self):
        one = ["a"] * 40
        assert sum(self.aside([9.0] * 4 + [0.0] * 36, one)) == 4
        assert sum(self.aside([9.0] * 5 + [0.0] * 35, one)) == 0
        assert sum(self.aside([9.0] * 2 + [0.0] * 3, one[:5])) == 2

    def test_a_build_of_one_trial_has_nothing_that_it_contradicts(self):
        """Its prediction is a prior, and first builds differ from it more than a prior says."""
        assert self.aside([-9.0, 0.1, 0.2], ["first", "b", "b"]) == [False, False, False]

    def test_half_a_sound_trial_of_a_large_season(self):
        """Of 10,000 normal trials the limit is passed by 0.5 on average."""
        draws = [np.random.default_rng(seed).normal(size=10_000) for seed in range(40)]
        builds = np.repeat(np.arange(5_000), 2).astype(str)
        asked = [sum(self.aside(z, builds)) for z in draws]
        assert np.mean(asked) == pytest.approx(FALSELY_A_SEASON, abs=0.35)

    def test_one_that_is_as_expected_after_all_comes_back(self):
        assert self.aside([1.0, 0.2], ["a", "a"], before=[True, False]) == [False, False]

    def test_two_of_a_build_that_contradict_each_other_stay_out(self):
        """They are six of one trial's deviations apart; 3.2 √2 = 4.5 would agree."""
        both = [True, True]
        assert self.aside([3.0, -3.0], ["a", "a"], before=both) == [True, True]
        assert self.aside([2.0, -2.0], ["a", "a"], before=both) == [False, False]
