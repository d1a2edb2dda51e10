"""The clock that is set back, and summer time, under the real service."""

from tests.reliability import clocks


def test_a_clock_that_is_set_back_loses_and_refuses_nothing(tmp_path):
    wrong, trials = clocks.set_back(f"sqlite:///{tmp_path}/walk.db", tmp_path, trials=1)
    assert not wrong, wrong
    assert trials == 5


def test_hours_that_are_skipped_or_come_twice(tmp_path):
    wrong = clocks.summer_time(f"sqlite:///{tmp_path}/walk.db", tmp_path)
    assert not wrong, wrong
