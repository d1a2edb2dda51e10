"""Checks that compare a trial with earlier trials at the same bench."""

import math

import pytest

from tests.support.check_edges import edges_of
from tests.support.checked_trials import (
    REFERENCE,
    broken_rules,
    check,
    finding_of,
    session_on,
    words,
)


@edges_of("history")
def test_each_rule_at_its_limit(name, severity, inside, outside):
    assert (name, severity) not in broken_rules(inside, REFERENCE)
    assert (name, severity) in broken_rules(outside, REFERENCE)


class TestWinds:
    def test_miles_an_hour(self):
        one = finding_of({"wind_speed_m_s": 9.4}, REFERENCE, rule="wind_unit_slip")
        assert one.fix == {"thing": "trial", "changes": {"wind_speed_m_s": pytest.approx(4.2022)}}
        assert "9.4 mph would be 4.20 m/s" in words(one)["message"]

    def test_a_complete_session_in_miles_an_hour(self):
        rows = [{"wind_speed_start_m_s": 9.4}, {"wind_speed_start_m_s": 9.4} | REFERENCE]
        one = finding_of(*rows, rule="wind_unit_slip")
        assert one.fix["thing"] == "session"
        assert one.fix["changes"] == {"wind_speed_start_m_s": pytest.approx(4.2022)}

    def test_a_wind_noted_with_each_run(self):
        runs = tuple({"voltage_v": volts, "wind_speed_m_s": 9.4} for volts in (1.2, 1.19, 1.21))
        one = finding_of(
            {"wind_speed_m_s": math.nan, "volts": runs}, REFERENCE, rule="wind_unit_slip"
        )
        assert one.fix == {"thing": "trial", "scale_wind": pytest.approx(0.44704, rel=1e-4)}

    def test_a_wind_with_its_decimal_point_elsewhere(self):
        one = finding_of({"wind_speed_m_s": 0.42}, REFERENCE, rule="wind_unit_slip")
        assert one.fix["changes"] == {"wind_speed_m_s": pytest.approx(4.2)}
        message = words(one)["message"]
        assert "Is the decimal point in the wrong place? 4.20 m/s would fit." in message

    def test_three_earlier_winds_define_the_usual_one(self):
        """A bench at 5.9 m/s: 8.0 is 1.36 times its usual, though twice the season's reference."""
        rows = [session_on(day, wind_speed_m_s=5.9) for day in range(3)]
        faster = session_on(5, wind_speed_m_s=8.0)
        assert "wind_unit_slip" not in {name for name, _ in broken_rules(*rows, faster, at=3)}
        assert ("wind_unit_slip", "hold") in broken_rules(*rows[:2], faster, at=2)

    def test_a_wind_that_was_confirmed_is_usual_from_then_on(self):
        first = session_on(0, wind_speed_m_s=7.0)
        second = session_on(1, wind_speed_m_s=7.1)
        assert ("wind_unit_slip", "hold") in broken_rules(first, second, at=1)
        fields = {("000", "wind_unit_slip"): "7"}
        assert "wind_unit_slip" not in {
            name for name, _ in broken_rules(first, second, at=1, confirmed=fields)
        }
        other = first | {"wind_speed_m_s": 7.2}  # corrected since: what was confirmed is gone
        assert ("wind_unit_slip", "hold") in broken_rules(other, second, at=1, confirmed=fields)


class TestVolts:
    def test_volts_of_the_same_setting_before(self):
        """1.2 V three times, then 2.2: read without the load. One trial before only warns."""
        before = [session_on(day) for day in range(3)]
        odd = session_on(4, volts=(2.2, 2.2, 2.21), meter_range_v=20.0)
        assert ("voltage_unlike_before", "hold") in broken_rules(*before, odd, at=3)
        assert ("voltage_unlike_before", "warn") in broken_rules(before[0], odd, at=1)

    @pytest.mark.parametrize("shift", [10, 100, 0.1, 0.01, 0.001])
    @pytest.mark.parametrize("earlier", [1, 3])
    def test_a_shift_by_places_is_held_however_few_came_before(self, shift, earlier):
        before = [session_on(day) for day in range(earlier)]
        volts = tuple(each * shift for each in (1.2, 1.19, 1.21))
        (one,) = [
            each
            for each in check(*before, session_on(4, volts=volts, meter_range_v=math.nan))
            if each.trial == earlier and each.rule.name in ("decimal_slip", "millivolt_slip")
        ]
        assert one.rule.severity == "hold"
        # 12 V and 120 V are more power than the wind has, and 20 V a slip of its own
        if shift <= 1:
            assert one.fix == {"thing": "trial", "scale_volts": pytest.approx(1 / shift)}
            assert "1.2 V would fit" in words(one)["message"]

    @pytest.mark.parametrize("pitch", [math.nan, 13.4])
    def test_so_it_is_at_about_the_same_pitch_or_an_unknown_one(self, pitch):
        slipped = session_on(4, volts=(0.12, 0.119, 0.121), pitch_deg=pitch)
        assert ("decimal_slip", "hold") in broken_rules(session_on(0), slipped, at=1)

    def test_a_blade_at_another_pitch_may_well_give_a_tenth(self):
        flat = session_on(4, volts=(0.12, 0.119, 0.121), pitch_deg=9.0)
        assert "decimal_slip" not in {name for name, _ in broken_rules(session_on(0), flat, at=1)}
        hundredth = session_on(4, volts=(0.012, 0.0119, 0.0121), pitch_deg=9.0)
        assert ("decimal_slip", "hold") in broken_rules(session_on(0), hundredth, at=1)

    @pytest.mark.parametrize(
        "other", [{"pitch_deg": 15.0}, {"load_ohm": 47.0}, {"build_id": "b2"}, {"bench_id": "y"}]
    )
    def test_another_setting_is_not_compared(self, other):
        before = [session_on(day) for day in range(3)]
        odd = session_on(4, volts=(2.2, 2.2, 2.21), meter_range_v=20.0, **other)
        names = {name for name, _ in broken_rules(*before, odd, at=3)}
        assert "voltage_unlike_before" not in names

    def test_more_wind_is_more_volts(self):
        """(4.6/4.2)^(2.6/2) = 1.126."""
        before = [session_on(day) for day in range(3)]
        faster = session_on(4, wind_speed_m_s=4.6, volts=(1.35, 1.36, 1.34))
        assert "voltage_unlike_before" not in {
            name for name, _ in broken_rules(*before, faster, at=3)
        }

    def test_a_suspect_trial_does_not_count_as_usual(self):
        wrong = session_on(0, wind_speed_m_s=9.4)
        assert "voltage_unlike_before" not in {
            name for name, _ in broken_rules(wrong, session_on(1), at=1)
        }

    def test_a_thousand_times_the_volts_before(self):
        low = {"volts": (0.015, 0.0151, 0.0149), "meter_range_v": 0.2}
        high = {"volts": (15.0, 15.1, 14.9), "meter_range_v": 20.0}
        rows = [session_on(day, **low) for day in range(2)] + [session_on(3, **high)]
        assert ("millivolt_slip", "hold") in broken_rules(*rows, at=2)

    def test_volts_that_were_confirmed_are_usual_from_then_on(self):
        before = [session_on(day) for day in range(2)]
        odd = [session_on(day, volts=(1.6, 1.61, 1.6)) for day in (4, 5, 6, 7)]
        fields = {(f"{at:03d}", "voltage_unlike_before"): "1.6" for at in (2, 3, 4)}
        assert ("voltage_unlike_before", "hold") in broken_rules(*before, *odd, at=5)
        names = {name for name, _ in broken_rules(*before, *odd, at=5, confirmed=fields)}
        assert "voltage_unlike_before" not in names


def test_the_same_trial_twice():
    assert ("duplicate", "hold") in broken_rules({}, {}, at=1)
    assert "duplicate" not in {name for name, _ in broken_rules({}, {}, at=0)}
    other = {"volts": (1.2, 1.19, 1.22)}
    assert "duplicate" not in {name for name, _ in broken_rules({}, other, at=1)}


@pytest.mark.parametrize(("which", "number"), [("previous", 1), ("next", 3)])
def test_the_setting_of_a_build_beside(which, number):
    row = {
        "build_number": 2.0, "build_pitch_deg": 15.0, "build_load_ohm": 22.0,
        f"{which}_pitch_deg": 12.0, f"{which}_load_ohm": 30.1,
    }  # fmt: skip
    (one,) = [each for each in check(row, REFERENCE) if each.rule.name == "wrong_build"]
    assert f"build {number}" in words(one)["message"]


@pytest.mark.parametrize(
    ("volts", "factor", "jumps"),
    # power goes with the square of the volts: 1.5² is 56 % off 1.2², 1.53² is 63 %
    [(1.5, "", False), (1.53, "", True), (1.53, "blade count", False), (0.92, "", True)],
)
def test_a_jump_from_the_build_before(volts, factor, jumps):
    newer = session_on(1, build_id="b2", build_number=2.0, changed_factor=factor,
                       volts=(volts,) * 2 + (volts + 0.01,))  # fmt: skip
    names = {name for name, _ in broken_rules(session_on(0), newer, at=1)}
    assert ("jump" in names) is jumps
