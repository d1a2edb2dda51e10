"""The clock that is set back, and summer time, under the real service."""

from tests.reliability import clocks


def test_a_clock_that_is_set_back_loses_and_refuses_nothing(tmp_path):
    url = f"sqlite:///{tmp_path}/walk.db"
    wrong, trials = clocks.set_back(url, tmp_path, trials=1, moves=(-2, -2, 0))
    assert not wrong, wrong
    assert trials == 4


def test_hours_that_are_skipped_or_come_twice(tmp_path):
    wrong = clocks.summer_time(f"sqlite:///{tmp_path}/walk.db", tmp_path)
    assert not wrong, wrong
