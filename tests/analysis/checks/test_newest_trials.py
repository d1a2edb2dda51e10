"""A check of the newest trials decides as a check of all trials does."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.checks.all_checks import check_trials, held_trials
from analysis.checks.newest_trials import check_newest
from tests.support.checked_trials import REFERENCE, session_on, view_of


def newest_of(*rows, new=1, found=None, **facts):
    """Return the check of the last rows, and the view: the others are settled."""
    view = view_of(*rows)
    settled = np.arange(len(rows)) < len(rows) - new
    view = replace(view, settled=settled, open_findings=found or {})
    return check_newest(view, **facts), view


def places(checked, view):
    return {view.place(each) for each in checked.findings}


class TestOlderTrials:
    def test_a_wind_found_to_be_slipped_is_not_usual(self):
        rows = [{"wind_speed_m_s": 9.4}] * 3 + [{"wind_speed_m_s": 4.2}] * 3 + [
            {"wind_speed_m_s": 9.4}
        ]  # fmt: skip
        found = {(f"{at:03d}", "wind_unit_slip"): "hold" for at in range(3)}
        checked, view = newest_of(*rows, found=found)
        assert ("006", "wind_unit_slip") in places(checked, view)
        taken, view = newest_of(*rows[:3], *rows[6:])  # nothing found: 9.4 m/s is usual there
        assert ("003", "wind_unit_slip") not in places(taken, view)

    def test_volts_found_to_be_odd_are_not_usual(self):
        rows = [{"volts": (1.2,) * 3}] * 2 + [{"volts": (1.9,) * 3}] * 4 + [{"volts": (1.2,) * 3}]
        found = {(f"{at:03d}", "voltage_unlike_before"): "hold" for at in range(2, 6)}
        checked, view = newest_of(*rows, found=found)
        assert ("006", "voltage_unlike_before") not in places(checked, view)
        taken, view = newest_of(*rows)
        assert ("006", "voltage_unlike_before") in places(taken, view)

    def test_a_held_session_holds_its_newest_trial(self):
        found = {("s", "reference_off"): "hold"}
        checked, _ = newest_of(REFERENCE, {}, {"volts": (1.21, 1.2, 1.2)}, found=found)
        assert checked.held.tolist() == [False, False, True]
        checked, _ = newest_of(
            REFERENCE, {}, {"volts": (1.21, 1.2, 1.2)}, found={("s", "reference_off"): "warn"}
        )
        assert not checked.held.any()

    def test_states_of_older_trials_stay(self):
        checked, _ = newest_of({"state": "held"}, {}, {"pitch_deg": 80.0})
        assert checked.held.tolist() == [True, False, True]


class TestDecides:
    def test_new_trials_and_their_sessions(self):
        checked, _ = newest_of({}, {"session_id": "s2"})
        for place in (("001", "duplicate"), ("s2", "cold_fan"), ("000", "jump")):
            assert checked.decides(place)
        for place in (("000", "duplicate"), ("s", "cold_fan"), ("s2", "reference_off")):
            assert not checked.decides(place)

    def test_without_complete_builds_no_older_trial(self):
        checked, _ = newest_of({}, {}, has_complete_builds=False)
        assert not checked.decides(("000", "jump"))

    def test_the_next_builds_first_trial_moves(self):
        later = {"build_id": "b2", "build_number": 2.0, "changed_factor": "", "volts": (1.6,) * 3}
        checked, view = newest_of({}, later, session_on(1, volts=(1.21, 1.2, 1.2)))
        assert ("001", "jump") in places(checked, view)
        assert checked.decides(("001", "jump"))


SWEPT = {"kind": "pitch", "volts": (1.2,) * 3}
SEASONS = {
    "sound": [REFERENCE, {}, session_on(1), session_on(2, volts=(1.21, 1.19, 1.2))],
    "a slipped point": [{}, session_on(1), session_on(2, volts=(12.0, 11.9, 12.1))],
    "a duplicate": [{}, {}],
    "a cold fan on a new day": [{}, session_on(1, warm_up_min=1.0)],
    "no reference for weeks": [REFERENCE, session_on(20)],
    "a best pitch at the end": [SWEPT | {"pitch_deg": 8.0 + at, "volts": (1.1 + at / 10,) * 3}
                                for at in range(4)],
    "a room in Fahrenheit": [{}, session_on(1, air_temperature_c=71.0)],
}  # fmt: skip


@pytest.mark.parametrize("rows", SEASONS.values(), ids=SEASONS)
def test_finds_what_a_check_of_all_finds(rows):
    complete = view_of(*rows)
    findings = check_trials(complete)
    before = view_of(*rows[:-1])
    found = {before.place(each): each.rule.severity for each in check_trials(before)}
    checked, view = newest_of(*rows, found=found)
    decided = [each for each in findings if checked.decides(complete.place(each))]
    assert places(checked, view) == {complete.place(each) for each in decided}
    assert [each.rule for each in checked.findings] == [each.rule for each in decided]
    assert checked.held[-1] == held_trials(complete, findings)[-1]
