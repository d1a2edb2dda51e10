"""Data checks: each finds what it should, at its limit, and nothing in a clean trial."""

import math
from pathlib import Path

import pandas as pd
import pytest

from analysis.checks.all_checks import CHECKS, blocking_rules, check_trials
from analysis.checks.rules import RULES, rules_page
from analysis.checks.view import View
from analysis.columns import CHECK_COLUMNS, CHECK_RUN_COLUMNS, CHECK_TEXT_COLUMNS, RUN_COLUMNS
from analysis.trials.results import trial_results
from tests.analysis.trials.test_results import result_of, trials_frame

DAY = 86_400.0
PLAIN = {
    "state": "accepted", "build_id": "b1", "turbine_id": "t", "session_id": "s", "bench_id": "x",
    "started_at": 0.0, "build_number": 1.0, "season_starts_at": -1e12, "season_ends_at": 1e12,
    "pitch_deg": 12.0, "build_pitch_deg": 12.0, "build_load_ohm": 30.1, "changed_factor": "pitch",
    "volts": (1.2, 1.19, 1.21), "warm_up_min": 8.0,
}  # fmt: skip
#: A reference run in the same session, so that none is missed.
REFERENCE = {"kind": "reference", "build_id": "ref", "turbine_id": "r", "volts": (1.31, 1.3, 1.3)}


def check(*rows, now=math.inf, confirmed=None):
    """Return what the checks find in trials that differ from the worked one by these facts."""
    whole = [PLAIN | row | {"trial_id": f"{at:03d}"} for at, row in enumerate(rows)]
    frame = trials_frame(*whole)
    for name in CHECK_COLUMNS:
        empty = "" if name in CHECK_TEXT_COLUMNS else math.nan
        frame[name] = [row.get(name, empty) for row in whole]
    runs = []
    for at, row in enumerate(whole):
        for each in row["volts"]:
            run = each if isinstance(each, dict) else {"voltage_v": each}
            runs.append(run | {"trial": at})
    run_frame = pd.DataFrame(runs).reindex(columns=[*RUN_COLUMNS, *CHECK_RUN_COLUMNS])
    results = trial_results(frame, run_frame)
    view = View(frame, run_frame, results, now=now, confirmed=confirmed or {})
    return check_trials(view)


def found(*rows, at=None, now=math.inf, confirmed=None):
    """Return rule and severity of what is found, at one of the trials or at all."""
    return {
        (finding.rule.name, finding.rule.severity)
        for finding in check(*rows, now=now, confirmed=confirmed)
        if at is None or finding.trial == at
    }


def test_a_clean_session_is_clean():
    assert found({}, REFERENCE) == set()


def volts_apart(ln_power):
    """Return voltages whose powers differ by that much on the logarithmic scale."""
    return (1.2, 1.2, 1.2 * math.exp(ln_power / 2))


def series(**steady):
    return {"mean_square_voltage_v2": 1.44, **steady}


def betz(coefficient):
    """Return the volts that a power coefficient gives across 30.1 Ω in the worked wind."""
    return (math.sqrt(coefficient * result_of().wind_power_w[0] * 30.1),) * 3


#: A rule, and facts of one trial just inside and just outside it. Values by hand from the limits
#: that the rule states.
EDGES = [
    ("runs_disagree", "warn", {"volts": volts_apart(0.129)}, {"volts": volts_apart(0.131)}),
    ("runs_disagree", "hold", {"volts": volts_apart(0.199)}, {"volts": volts_apart(0.201)}),
    # Betz: 16/27 = 0.5926 of ½ρAv³
    ("impossible_power", "hold", {"volts": betz(0.59)}, {"volts": betz(0.595)}),
    ("unlikely_power", "warn", {"volts": betz(0.249)}, {"volts": betz(0.251)}),
    ("wind_unit_slip", "hold", {"wind_speed_m_s": 5.0}, {"wind_speed_m_s": 9.4}),
    ("millivolt_slip", "hold", {"volts": (19.9,) * 3}, {"volts": (20.1,) * 3}),
    ("kiloohm_slip", "hold", {"load_ohm": 0.51}, {"load_ohm": 0.49}),
    ("kiloohm_slip", "hold", {"load_ohm": 2.0, "build_load_ohm": 30.1},
     {"load_ohm": 2.0, "build_load_ohm": 2000.0}),
    ("load_slip", "hold", {"load_ohm": 30.1, "load_record_ohm": 27.0},
     {"load_ohm": 301.0, "load_record_ohm": 30.1}),
    ("load_slip", "hold", {"load_ohm": 300.0, "build_load_ohm": 30.1, "kind": "load"},
     {"load_ohm": 300.0, "build_load_ohm": 30.1}),
    # V²/R: 5.48 mV across 30.1 Ω are 0.998 µW
    ("unmeasurable_power", "hold", {"volts": (5.5e-3,) * 2 + (5.51e-3,)},
     {"volts": (5.47e-3,) * 2 + (5.48e-3,)}),
    ("humidity_fraction", "hold", {"relative_humidity_pct": 1.1}, {"relative_humidity_pct": 0.45}),
    ("diameter_slip", "hold", {"sheet_diameter_m": 0.46}, {"sheet_diameter_m": 0.225}),
    ("diameter_slip", "hold", {"sheet_diameter_m": 0.44}, {"sheet_diameter_m": 0.9}),
    ("pitch_from_axis", "hold", {"pitch_deg": 50.0}, {"pitch_deg": 50.5}),
    ("temperature_unit", "hold", {"air_temperature_c": 44.9}, {"air_temperature_c": 45.0}),
    ("zero_volts", "hold", {"volts": ({"voltage_v": 0.1, "rotor_speed_rpm": 300.0},)},
     {"volts": ({"voltage_v": 0.001, "rotor_speed_rpm": 300.0},)}),
    ("meter_range_coarse", "warn", {"volts": (2.0,), "meter_range_v": 20.0},
     {"volts": (1.99,), "meter_range_v": 20.0}),
    ("load_hot", "warn", {"rated_power_w": 0.096}, {"rated_power_w": 0.095}),
    ("load_hot", "hold", {"rated_power_w": 0.048}, {"rated_power_w": 0.047}),
    ("load_differs", "warn", {"load_record_ohm": 31.6}, {"load_record_ohm": 31.8}),
    ("volts_amperes_ohms", "warn", {"volts": ({"voltage_v": 1.2, "current_a": 0.0400},) * 3},
     {"volts": ({"voltage_v": 1.2, "current_a": 0.0375},) * 3}),
    ("too_few_runs", "warn", {"volts": (1.2, 1.21, 1.2)}, {"volts": (1.2, 1.21)}),
    ("copied_runs", "warn", {"volts": (1.2, 1.2, 1.201)}, {"volts": (1.2, 1.2, 1.2)}),
    ("not_steady", "warn", {"volts": (series(series_variation=0.099),) * 3},
     {"volts": (series(series_variation=0.101),) * 3}),
    ("not_steady", "warn", {"volts": (series(series_drift=0.019),) * 3},
     {"volts": (series(series_drift=-0.021),) * 3}),
    ("short_run", "warn", {"volts": ({"voltage_v": 1.2, "duration_s": 15.0},) * 3},
     {"volts": ({"voltage_v": 1.2, "duration_s": 14.0},) * 3}),
    ("pitch_spread", "warn", {"blade_pitch_range_deg": 4.0}, {"blade_pitch_range_deg": 4.1}),
    ("pitch_moved", "hold", {"pitch_after_deg": 14.0}, {"pitch_after_deg": 14.1}),
    # λ = ω R/v: 850 a minute at 4.2 m/s and 0.225 m is 4.8; 1200 is 6.7
    ("tip_speed_odd", "warn", {"volts": ({"voltage_v": 1.2, "rotor_speed_rpm": 850.0},) * 3},
     {"volts": ({"voltage_v": 1.2, "rotor_speed_rpm": 1200.0},) * 3}),
    ("out_of_range_wind", "warn", {"wind_speed_m_s": 5.0}, {"wind_speed_m_s": 5.1}),
    ("default_exponent", "warn", {"wind_speed_m_s": 4.4}, {"wind_speed_m_s": 4.45}),
    ("sea_level_pressure", "warn", {"pressure_hpa": 955.0}, {"pressure_hpa": 1013.0}),
    # ISO 2533 at 540 m: 950 hPa
    ("pressure_odd", "warn", {"pressure_hpa": 974.0}, {"pressure_hpa": 976.0}),
    ("cold_fan", "warn", {"warm_up_min": 5.0}, {"warm_up_min": 4.0}),
    ("wind_drifted", "warn", {"wind_speed_end_m_s": 4.32}, {"wind_speed_end_m_s": 4.34}),
    ("wind_drifted", "hold", {"wind_speed_end_m_s": 4.45}, {"wind_speed_end_m_s": 4.46}),
    ("bench_changed", "hold", {"fan_setting": "2", "fan_setting_used": "2"},
     {"fan_setting": "2", "fan_setting_used": "3"}),
    ("bench_changed", "hold", {"distance_m": 0.9, "distance_used_m": 0.91},
     {"distance_m": 0.9, "distance_used_m": 0.92}),
    ("single_wind_point", "warn", {"grid_points": 5.0}, {"grid_points": math.nan}),
    ("uneven_jet", "warn", {"grid_unevenness": 0.15}, {"grid_unevenness": 0.16}),
    ("rotor_wider_than_jet", "warn", {"fan_diameter_m": 0.57}, {"fan_diameter_m": 0.56}),
    # 0.45 m across is 0.159 m²
    ("tunnel_blockage", "warn", {"tunnel_area_m2": 1.07}, {"tunnel_area_m2": 1.05}),
    ("stale_instrument", "warn", {"anemometer_checked_at": -360 * DAY},
     {"anemometer_checked_at": -370 * DAY}),
    ("date_odd", "warn", {"season_ends_at": 1.0}, {"season_ends_at": -1.0}),
    ("personal_data", "warn", {"note": "blade 2 was loose, wind from the door"},
     {"note": "ask j.doe@example.org"}),
    ("mixed_change", "info", {"changed_factor": "blade count"},
     {"changed_factor": "pitch and load"}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "severity", "inside", "outside"),
    [pytest.param(*edge, id=f"{edge[0]}-{edge[1]}-{at}") for at, edge in enumerate(EDGES)],
)
def test_each_rule_at_its_limit(name, severity, inside, outside):
    assert (name, severity) not in found(inside, REFERENCE)
    assert (name, severity) in found(outside, REFERENCE)


@pytest.mark.parametrize(
    "note",
    ["call 0171 234 5678", "+49 171 2345678", "555-123-4567", "(0171) 23 45 67",
     "Frau Lindner was there", "Anna Berg held the tower", "José García held it", "by Łukasz Żak",
     "a.b@c.de"],
)  # fmt: skip
def test_what_names_a_person(note):
    assert ("personal_data", "warn") in found({"note": note}, REFERENCE)


@pytest.mark.parametrize("place", ["session_note", "build_note", "team_name"])
def test_wherever_a_person_is_named(place):
    assert ("personal_data", "warn") in found({place: "Anna Berg"}, REFERENCE)


@pytest.mark.parametrize(
    "note",
    ["Blade Two", "The Fan was on Setting Two", "pitch 12.5, 3 runs", "new card 0.5 mm", "",
     "done again on 2026-03-05 14:30", "12.03.2026", "read 1200 1190 1210 mV", "0.45 0.46 0.47"],
)  # fmt: skip
def test_what_names_nobody(note):
    assert found({"note": note}, REFERENCE) == set()


class TestFixes:
    def fix(self, *rows, rule, at=0):
        (one,) = [each for each in check(*rows) if each.rule.name == rule and each.trial == at]
        return one

    def test_miles_an_hour(self):
        one = self.fix({"wind_speed_m_s": 9.4}, REFERENCE, rule="wind_unit_slip")
        assert one.fix == {"thing": "trial", "changes": {"wind_speed_m_s": pytest.approx(4.2022)}}
        assert "9.4 mph would be 4.20 m/s" in one.message

    def test_a_whole_session_in_miles_an_hour(self):
        rows = [{"wind_speed_start_m_s": 9.4}, {"wind_speed_start_m_s": 9.4} | REFERENCE]
        one = self.fix(*rows, rule="wind_unit_slip")
        assert one.fix["thing"] == "session"
        assert one.fix["changes"] == {"wind_speed_start_m_s": pytest.approx(4.2022)}

    def test_a_wind_noted_with_each_run(self):
        runs = tuple({"voltage_v": volts, "wind_speed_m_s": 9.4} for volts in (1.2, 1.19, 1.21))
        one = self.fix(
            {"wind_speed_m_s": math.nan, "volts": runs}, REFERENCE, rule="wind_unit_slip"
        )
        assert one.fix == {"thing": "trial", "scale_wind": pytest.approx(0.44704, rel=1e-4)}

    def test_a_wind_with_its_decimal_point_elsewhere(self):
        one = self.fix({"wind_speed_m_s": 0.42}, REFERENCE, rule="wind_unit_slip")
        assert one.fix["changes"] == {"wind_speed_m_s": pytest.approx(4.2)}
        assert "Is the decimal point in the wrong place? 4.20 m/s would fit." in one.message

    def test_one_reading_with_a_missing_decimal_point(self):
        one = self.fix({"volts": (0.016, 0.166, 0.163)}, REFERENCE, rule="runs_disagree")
        assert one.message == (
            "Your readings disagree: 0.016 V beside 0.166 V and 0.163 V. "
            "Is a decimal point missing? 0.16 V would fit."
        )
        assert one.fix == {"thing": "trial", "scale_volts": 10.0, "run": 1}

    def test_readings_that_no_shift_explains(self):
        one = self.fix({"volts": (1.2, 1.69, 1.22)}, REFERENCE, rule="runs_disagree")
        assert one.message == "Your readings disagree: 1.69 V beside 1.2 V and 1.22 V."
        assert one.fix is None

    def test_of_two_readings_the_impossible_one_is_meant(self):
        one = self.fix({"volts": (0.0012, 1.2)}, REFERENCE, rule="runs_disagree")
        assert one.fix == {"thing": "trial", "scale_volts": 1000.0, "run": 1}
        both = self.fix({"volts": (0.12, 1.2)}, REFERENCE, rule="runs_disagree")
        assert both.fix is None

    def test_a_millionth_of_the_power(self):
        """1.2 mV across 30.1 Ω are 48 nW; volts make the coefficient of the worked trial."""
        one = self.fix({"volts": (0.0012, 0.0012, 0.00121)}, REFERENCE, rule="unmeasurable_power")
        assert one.message.endswith("Is 0.00121 V in another unit? 1.21 V would fit.")
        assert one.fix == {"thing": "trial", "scale_volts": 1000.0}

    def test_kiloohms_and_the_other_angle(self):
        ohms = self.fix({"load_ohm": 0.03}, REFERENCE, rule="kiloohm_slip")
        assert ohms.fix == {"thing": "trial", "changes": {"load_ohm": 30.0}}
        pitch = self.fix({"pitch_deg": 78.0}, REFERENCE, rule="pitch_from_axis")
        assert pitch.fix == {"thing": "trial", "changes": {"pitch_deg": 12.0}}

    def test_a_radius(self):
        one = self.fix({"sheet_diameter_m": 0.225}, REFERENCE, rule="diameter_slip")
        assert one.fix == {"thing": "trial", "changes": {"rotor_diameter_m": 0.45}}
        assert "a radius" in one.message

    def test_what_cannot_be_either_is_not_proposed(self):
        """4.2 m/s over 0.45 m is 6.6 W, of which 8 V at 30.1 Ω are 0.32 and 12 V 0.73."""
        possible = {"wind_speed_m_s": 9.4, "volts": (8.0, 8.0, 8.01), "meter_range_v": 20.0}
        assert self.fix(possible, REFERENCE, rule="wind_unit_slip").fix is not None
        beyond = possible | {"volts": (12.0, 12.0, 12.01)}
        one = self.fix(beyond, REFERENCE, rule="wind_unit_slip")
        assert one.fix is None
        assert "cannot be right either" in one.message
        assert "Accept" not in one.advice

    def test_nor_is_a_wind_in_which_the_counted_turns_are_impossible(self):
        """1,500 a minute at 0.45 m: 3.8 times 9.4 m/s, 8.4 times 4.2 m/s."""
        runs = tuple({"voltage_v": volts, "rotor_speed_rpm": 1500.0} for volts in (1.2, 1.19, 1.21))
        one = self.fix({"wind_speed_m_s": 9.4, "volts": runs}, REFERENCE, rule="wind_unit_slip")
        assert one.fix is None

    def test_degrees_fahrenheit(self):
        one = self.fix({"air_temperature_c": 49.0}, REFERENCE, rule="temperature_unit")
        assert one.fix == {"thing": "session", "changes": {"air_temperature_c": 9.4}}


class TestHistory:
    def session(self, day, **changed):
        return {"session_id": f"s{day}", "started_at": day * DAY, **changed}

    def test_volts_of_the_same_setting_before(self):
        """1.2 V three times, then 2.2: read without the load. One trial before only warns."""
        before = [self.session(day) for day in range(3)]
        odd = self.session(4, volts=(2.2, 2.2, 2.21), meter_range_v=20.0)
        assert ("voltage_unlike_before", "hold") in found(*before, odd, at=3)
        assert ("voltage_unlike_before", "warn") in found(before[0], odd, at=1)

    @pytest.mark.parametrize("shift", [10, 100, 0.1, 0.01, 0.001])
    @pytest.mark.parametrize("earlier", [1, 3])
    def test_a_shift_by_places_is_held_however_few_came_before(self, shift, earlier):
        before = [self.session(day) for day in range(earlier)]
        volts = tuple(each * shift for each in (1.2, 1.19, 1.21))
        (one,) = [
            each
            for each in check(*before, self.session(4, volts=volts, meter_range_v=math.nan))
            if each.trial == earlier and each.rule.name in ("decimal_slip", "millivolt_slip")
        ]
        assert one.rule.severity == "hold"
        if (
            shift <= 1
        ):  # 12 V and 120 V are more power than the wind has, and 20 V a slip of its own
            assert one.fix == {"thing": "trial", "scale_volts": pytest.approx(1 / shift)}
            assert "1.2 V would fit" in one.message

    @pytest.mark.parametrize("pitch", [math.nan, 13.4])
    def test_so_it_is_at_about_the_same_pitch_or_an_unknown_one(self, pitch):
        slipped = self.session(4, volts=(0.12, 0.119, 0.121), pitch_deg=pitch)
        assert ("decimal_slip", "hold") in found(self.session(0), slipped, at=1)

    def test_a_blade_at_another_pitch_may_well_give_a_tenth(self):
        flat = self.session(4, volts=(0.12, 0.119, 0.121), pitch_deg=9.0)
        assert "decimal_slip" not in {name for name, _ in found(self.session(0), flat, at=1)}
        hundredth = self.session(4, volts=(0.012, 0.0119, 0.0121), pitch_deg=9.0)
        assert ("decimal_slip", "hold") in found(self.session(0), hundredth, at=1)

    @pytest.mark.parametrize(
        "other", [{"pitch_deg": 15.0}, {"load_ohm": 47.0}, {"build_id": "b2"}, {"bench_id": "y"}]
    )
    def test_another_setting_tells_nothing(self, other):
        before = [self.session(day) for day in range(3)]
        odd = self.session(4, volts=(2.2, 2.2, 2.21), meter_range_v=20.0, **other)
        names = {name for name, _ in found(*before, odd, at=3)}
        assert "voltage_unlike_before" not in names

    def test_more_wind_is_more_volts(self):
        """(4.6/4.2)^(2.6/2) = 1.126."""
        before = [self.session(day) for day in range(3)]
        faster = self.session(4, wind_speed_m_s=4.6, volts=(1.35, 1.36, 1.34))
        assert "voltage_unlike_before" not in {name for name, _ in found(*before, faster, at=3)}

    def test_what_is_doubted_itself_tells_nothing(self):
        wrong = self.session(0, wind_speed_m_s=9.4)
        assert "voltage_unlike_before" not in {
            name for name, _ in found(wrong, self.session(1), at=1)
        }

    def test_a_thousand_times_the_volts_before(self):
        low = {"volts": (0.015, 0.0151, 0.0149), "meter_range_v": 0.2}
        high = {"volts": (15.0, 15.1, 14.9), "meter_range_v": 20.0}
        rows = [self.session(day, **low) for day in range(2)] + [self.session(3, **high)]
        assert ("millivolt_slip", "hold") in found(*rows, at=2)

    def test_the_same_trial_twice(self):
        assert ("duplicate", "hold") in found({}, {}, at=1)
        assert "duplicate" not in {name for name, _ in found({}, {}, at=0)}
        other = {"volts": (1.2, 1.19, 1.22)}
        assert "duplicate" not in {name for name, _ in found({}, other, at=1)}

    @pytest.mark.parametrize(("which", "number"), [("previous", 1), ("next", 3)])
    def test_the_setting_of_a_build_beside(self, which, number):
        row = {
            "build_number": 2.0, "build_pitch_deg": 15.0, "build_load_ohm": 22.0,
            f"{which}_pitch_deg": 12.0, f"{which}_load_ohm": 30.1,
        }  # fmt: skip
        (one,) = [each for each in check(row, REFERENCE) if each.rule.name == "wrong_build"]
        assert f"build {number}" in one.message

    @pytest.mark.parametrize(
        ("volts", "factor", "jumps"),
        # power goes with the square of the volts: 1.5² is 56 % off 1.2², 1.53² is 63 %
        [(1.5, "", False), (1.53, "", True), (1.53, "blade count", False), (0.92, "", True)],
    )
    def test_a_jump_from_the_build_before(self, volts, factor, jumps):
        newer = self.session(1, build_id="b2", build_number=2.0, changed_factor=factor,
                             volts=(volts,) * 2 + (volts + 0.01,))  # fmt: skip
        names = {name for name, _ in found(self.session(0), newer, at=1)}
        assert ("jump" in names) is jumps

    @pytest.mark.parametrize(
        ("volts", "expected"),
        # ln P moves by twice ln V: 0.10, 0.14, 0.20 in ln P
        [(1.3 * math.exp(0.05), None), (1.3 * math.exp(0.07), "warn"),
         (1.3 * math.exp(0.10), "hold")],
    )  # fmt: skip
    def test_a_reference_run_off_its_usual(self, volts, expected):
        rows = [self.session(day) | REFERENCE | {"volts": (1.3, 1.3, 1.31)} for day in range(3)]
        rows += [self.session(5) | REFERENCE | {"volts": (volts, volts, volts + 0.01)}]
        fields = {severity for name, severity in found(*rows, at=3) if name == "reference_off"}
        assert fields == ({expected} if expected else set())

    def test_a_reference_power_that_was_confirmed_is_usual_from_then_on(self):
        """A new resistor in the box: 30 % more from day 5 on, confirmed once."""
        rows = [self.session(day) | REFERENCE | {"volts": (1.3, 1.3, 1.31)} for day in range(3)]
        more = [self.session(day) | REFERENCE | {"volts": (1.5, 1.5, 1.51)} for day in (5, 6, 7)]
        (one,) = [each for each in check(*rows, *more) if each.trial == 3]
        fields = {("s5", "reference_off"): one.seen}
        for at in (4, 5):
            assert ("reference_off", "hold") in found(*rows, *more, at=at)
            assert ("reference_off", "hold") not in found(*rows, *more, at=at, confirmed=fields)

    def test_a_doubted_reference_run_tells_nothing(self):
        rows = [self.session(day) | REFERENCE | {"volts": (1.3, 1.3, 1.31)} for day in range(3)]
        odd = self.session(5) | REFERENCE | {"volts": (1.3, 1.3, 1.9)}  # its runs disagree
        assert {"reference_off"} & {name for name, _ in found(*rows, odd, at=3)} == set()

    @pytest.mark.parametrize(("days", "missing"), [(14, False), (15, True)])
    def test_two_weeks_without_a_reference_run(self, days, missing):
        rows = [self.session(0) | REFERENCE, self.session(days)]
        assert (("no_reference", "warn") in found(*rows, at=1)) is missing

    def test_three_winds_before_tell_what_is_usual(self):
        """A bench at 5.9 m/s: 8.0 is 1.36 times its usual, though twice the season's reference."""
        rows = [self.session(day, wind_speed_m_s=5.9) for day in range(3)]
        faster = self.session(5, wind_speed_m_s=8.0)
        assert "wind_unit_slip" not in {name for name, _ in found(*rows, faster, at=3)}
        assert ("wind_unit_slip", "hold") in found(*rows[:2], faster, at=2)

    def test_a_wind_that_was_confirmed_is_usual_from_then_on(self):
        first = self.session(0, wind_speed_m_s=7.0)
        second = self.session(1, wind_speed_m_s=7.1)
        assert ("wind_unit_slip", "hold") in found(first, second, at=1)
        fields = {("000", "wind_unit_slip"): "7"}
        assert "wind_unit_slip" not in {
            name for name, _ in found(first, second, at=1, confirmed=fields)
        }
        other = first | {"wind_speed_m_s": 7.2}  # corrected since: what was confirmed is gone
        assert ("wind_unit_slip", "hold") in found(other, second, at=1, confirmed=fields)

    def test_volts_that_were_confirmed_are_usual_from_then_on(self):
        before = [self.session(day) for day in range(2)]
        odd = [self.session(day, volts=(1.6, 1.61, 1.6)) for day in (4, 5, 6, 7)]
        fields = {(f"{at:03d}", "voltage_unlike_before"): "1.6" for at in (2, 3, 4)}
        assert ("voltage_unlike_before", "hold") in found(*before, *odd, at=5)
        names = {name for name, _ in found(*before, *odd, at=5, confirmed=fields)}
        assert "voltage_unlike_before" not in names


def test_benches_checked_together_and_apart_agree():
    """One build at two benches, wide rotor, several changes, sweep with its best at the end."""
    odd = {"fan_diameter_m": 0.5, "changed_factor": "pitch and load", "note": "ask Anna Berg"}
    rows = [
        odd | {"bench_id": bench, "session_id": f"s{bench}", "kind": kind, "pitch_deg": pitch,
               "volts": (volts, volts, volts + 0.01)}
        for bench in ("x", "y")
        for kind, pitch, volts in (("record", 12.0, 1.2), ("pitch", 8.0, 1.0), ("pitch", 11.0, 1.1),
                                   ("pitch", 14.0, 1.2))
    ]  # fmt: skip

    def names(found, offset=0):
        return {(each.trial + offset, each.rule.name, each.message) for each in found}

    together = names(check(*rows))
    assert together == names(check(*rows[:4])) | names(check(*rows[4:]), offset=4)
    assert {"rotor_wider_than_jet", "mixed_change", "edge_optimum"} <= {
        each[1] for each in together
    }


class TestBuilds:
    def test_a_sweep_with_its_best_at_the_end(self):
        rows = [{"kind": "pitch", "pitch_deg": pitch, "volts": (volts,) * 2 + (volts + 0.001,)}
                for pitch, volts in ((8.0, 1.0), (11.0, 1.1), (14.0, 1.2))]  # fmt: skip
        (one,) = [each for each in check(*rows, REFERENCE) if each.rule.name == "edge_optimum"]
        assert one.trial == 2
        assert one.advice == "Try 19.6° next."  # 14 times 1.4
        doubted = [*rows[:2], rows[2] | {"volts": (1.2, 1.2, 1.9)}]  # it waits in the same pass
        assert "edge_optimum" not in {name for name, _ in found(*doubted, REFERENCE)}
        turned = [*rows[:2], rows[2] | {"volts": (0.9, 0.9, 0.91)}]
        assert "edge_optimum" not in {name for name, _ in found(*turned, REFERENCE)}

    def test_a_wind_sweep_of_no_plausible_exponent(self):
        rows = [{"kind": "wind", "wind_speed_m_s": speed, "volts": (volts, volts + 0.001)}
                for speed, volts in ((3.2, 1.3), (4.0, 1.2), (4.9, 1.1))]  # fmt: skip
        assert ("not_a_power_law", "warn") in found(*rows, REFERENCE, at=2)


@pytest.mark.parametrize(
    ("changed", "rule"),
    [({"load_connected": False}, "load_not_stated"), ({"load_ohm": None}, "load_not_stated"),
     ({"adult_present": False}, "supervisor_missing"),
     ({"voltages_v": [1.99, 2.0]}, "meter_over_range")],
)  # fmt: skip
def test_what_is_refused(changed, rule):
    facts = {
        "kind": "record", "load_ohm": 30.1, "load_connected": True, "adult_present": True,
        "meter_range_v": 2.0, "voltages_v": [1.2],
    }  # fmt: skip
    assert [each.name for each in blocking_rules(**facts)] == []
    assert [each.name for each in blocking_rules(**facts | changed)] == [rule]


def test_open_circuit_needs_no_load():
    rules = blocking_rules(
        kind="open_circuit", load_ohm=None, load_connected=None, adult_present=True,
        meter_range_v=2.0, voltages_v=[1.2],
    )  # fmt: skip
    assert rules == []


def test_every_rule_is_tried():
    """A rule without a case here, or a check that is not listed, would go unnoticed."""
    history = {
        ("voltage_unlike_before", "hold"), ("voltage_unlike_before", "warn"),
        ("decimal_slip", "hold"), ("duplicate", "hold"), ("wrong_build", "warn"), ("jump", "warn"),
        ("reference_off", "warn"), ("reference_off", "hold"), ("no_reference", "warn"),
        ("edge_optimum", "info"), ("not_a_power_law", "warn"), ("load_not_stated", "block"),
        ("supervisor_missing", "block"), ("meter_over_range", "block"),
    }  # fmt: skip
    assert {edge[:2] for edge in EDGES} | history == set(RULES)
    assert len(CHECKS) == len(set(CHECKS))


def test_the_page_is_what_the_rules_say():
    page = Path(__file__).parents[3] / "analysis" / "CHECKS.md"
    assert page.read_text(encoding="utf-8") == rules_page(RULES.values())


def test_words_say_what_to_do():
    for rule in RULES.values():
        assert rule.message.removesuffix("{question}").rstrip()[-1] in ".?"
        assert rule.advice[-1] in ".?"
        assert len(rule.advice.split()) >= 3, rule.name
