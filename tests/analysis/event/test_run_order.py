"""The drawn order and the day's drift, by their laws and by hand."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import AnalysisError
from analysis.event.drift import take_off_drift
from analysis.event.run_order import draw_order

SCHOOLS = {name: [f"{name}{at}" for at in range(4)] for name in "ABCDEF"}


class TestOrder:
    def test_every_team_runs_once_in_each_attempt(self):
        order = draw_order(SCHOOLS, attempts=2, seed=1)
        ran = Counter((slot.attempt, slot.team) for slot in order if slot.team)
        assert set(ran.values()) == {1}
        assert len(ran) == 48

    def test_each_block_has_one_team_of_each_school(self):
        for block in range(1, 5):
            order = draw_order(SCHOOLS, attempts=1, seed=2)
            schools = [slot.team[0] for slot in order if slot.block == block]
            assert sorted(schools) == sorted(SCHOOLS)

    def test_the_reference_rotor_is_first_last_and_after_every_six(self):
        order = draw_order(SCHOOLS, attempts=1, seed=3)
        at = [slot.position for slot in order if slot.team is None]
        assert at == [1, 8, 15, 22, 29]
        assert len(order) == 24 + 5

    def test_the_same_seed_is_the_same_order_and_another_another(self):
        assert draw_order(SCHOOLS, 1, 5) == draw_order(SCHOOLS, 1, 5)
        assert draw_order(SCHOOLS, 1, 5) != draw_order(SCHOOLS, 1, 6)

    def test_no_school_is_favoured(self):
        """The mean place of a school over 2,000 draws: 3.5 of 6 in a block, sd 1.71/√2000·√4."""
        places = Counter()
        for seed in range(2000):
            order = [slot.team for slot in draw_order(SCHOOLS, 1, seed) if slot.team]
            places["A"] += sum(at % 6 for at, team in enumerate(order) if team[0] == "A") / 4
        assert places["A"] / 2000 == pytest.approx(2.5, abs=4 * 1.71 / np.sqrt(8000))

    def test_a_small_school_is_not_always_first(self):
        """One team of B among six of A: over 400 draws it is in each block about as often."""
        blocks = Counter()
        for seed in range(400):
            order = draw_order({"A": [f"a{at}" for at in range(6)], "B": ["b"]}, 1, seed)
            blocks[next(slot.block for slot in order if slot.team == "b")] += 1
        assert set(blocks) == {1, 2, 3, 4, 5, 6}
        # 400/6 = 66.7 with a standard deviation of 7.5
        assert all(abs(count - 400 / 6) < 4 * 7.5 for count in blocks.values())

    def test_schools_of_different_size_all_run(self):
        order = draw_order({"A": ["a"], "B": ["b1", "b2", "b3"]}, 1, 4)
        assert sorted(slot.team for slot in order if slot.team) == ["a", "b1", "b2", "b3"]
        assert draw_order({}, 1, 4) == []


class TestDrift:
    def test_by_hand(self):
        """Reference 60, 57, 60 mW at 0, 10, 20: ln 57/60 = −0.0513, mean ln off 60 by −0.0171.

        Half-way down, at 5, it has lost 0.02565: 50 mW · e^(0.02565 − 0.0171) = 50.43 mW.
        """
        found = take_off_drift(
            np.array([5.0, 0.0, 25.0]), np.full(3, 0.05),
            np.array([20.0, 0.0, 10.0]), np.array([0.060, 0.060, 0.057]),
        )  # fmt: skip
        assert found.power_w[0] == pytest.approx(0.05043, abs=1e-5)
        assert (
            found.power_w[1] == found.power_w[2] == pytest.approx(0.05 * np.exp(-0.0171), rel=1e-4)
        )
        assert found.drift == pytest.approx(0.0513, abs=1e-4)
        assert not found.needs_decision

    @pytest.mark.parametrize(("last", "decide"), [(0.0566, False), (0.0564, True)])
    def test_beyond_six_per_cent_officials_decide(self, last, decide):
        found = take_off_drift(np.array([1.0]), np.array([0.05]), np.array([0.0, 2.0]),
                               np.array([0.06, last]))  # fmt: skip
        assert found.needs_decision is decide

    def test_two_rotors_are_held_each_against_itself(self):
        """60 and 40 mW rotors that both stand still: nothing drifts, whichever ran when."""
        found = take_off_drift(
            np.array([2.0]), np.array([0.05]), np.array([0.0, 1.0, 3.0, 4.0]),
            np.array([0.06, 0.04, 0.06, 0.04]), np.array(["a", "b", "a", "b"]),
        )  # fmt: skip
        assert found.power_w[0] == pytest.approx(0.05)
        assert found.drift == pytest.approx(0.0)

    def test_one_reference_run_tells_no_drift(self):
        with pytest.raises(AnalysisError, match="two runs"):
            take_off_drift(np.array([1.0]), np.array([0.05]), np.array([0.0]), np.array([0.06]))

    @given(st.floats(0.5, 2.0), st.lists(st.floats(0.01, 0.2), min_size=3, max_size=8))
    def test_a_reference_that_stands_changes_nothing(self, factor, powers):
        position = np.arange(len(powers), dtype=float)
        found = take_off_drift(position, np.array(powers), np.array([0.0, 9.0]),
                               np.array([0.06, 0.06]) * factor)  # fmt: skip
        assert found.power_w == pytest.approx(powers)

    @given(st.floats(-0.05, 0.05))
    def test_what_drifts_as_the_reference_does_is_put_right(self, slope):
        """Every rotor loses the same share with time: all runs of one build come out alike."""
        position = np.linspace(0, 10, 9)
        power = 0.05 * np.exp(slope * position)
        at = np.array([0.0, 5.0, 10.0])
        found = take_off_drift(position, power, at, 0.06 * np.exp(slope * at))
        assert found.power_w == pytest.approx(np.full(9, found.power_w[0]))
