"""The drawn order of an event's runs, by its laws."""

from collections import Counter

import numpy as np
import pytest

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
