"""Proposed fixes are compared with physics, by the same trial calculated with the fix."""

import math

import pytest

from analysis.checks.fixes import with_sound_fix
from analysis.checks.trial import TIP_SPEEDS
from analysis.checks.view import make_finding
from tests.support.checked_trials import REFERENCE, finding_of, view_of, words

BETZ = 16 / 27  # Betz 1920, of the wind's power


def test_an_impossible_fix_is_not_proposed():
    """4.2 m/s over 0.45 m is 6.6 W, of which 8 V at 30.1 Ω are 0.32 and 12 V 0.73."""
    possible = {"wind_speed_m_s": 9.4, "volts": (8.0, 8.0, 8.01), "meter_range_v": 20.0}
    assert finding_of(possible, REFERENCE, rule="wind_unit_slip").fix is not None
    beyond = possible | {"volts": (12.0, 12.0, 12.01)}
    finding = finding_of(beyond, REFERENCE, rule="wind_unit_slip")
    assert finding.fix is None
    assert "cannot be right either" in words(finding)["message"]
    assert "Accept" not in words(finding)["advice"]


def test_nor_is_a_wind_in_which_the_counted_turns_are_impossible():
    """1,500 a minute at 0.45 m: 3.8 times 9.4 m/s, 8.4 times 4.2 m/s."""
    runs = tuple({"voltage_v": volts, "rotor_speed_rpm": 1500.0} for volts in (1.2, 1.19, 1.21))
    finding = finding_of({"wind_speed_m_s": 9.4, "volts": runs}, REFERENCE, rule="wind_unit_slip")
    assert finding.fix is None


def proposed(row, fix):
    """Return a finding that proposes this for a trial, once it was held against physics."""
    finding = make_finding(0, "wind_unit_slip", "hold", value=1.0, usual=1.0, fixed=1.0, fix=fix)
    return with_sound_fix(view_of(row), finding)


def corrected(row, fix):
    """Return the results of the trial with the proposal in it."""
    volts = [dict(each) for each in row["volts"]]
    for at, run in enumerate(volts, start=1):
        run["voltage_v"] *= fix.get("scale_volts", 1) if fix.get("run", at) == at else 1
        if "scale_wind" in fix:
            run["wind_speed_m_s"] *= fix["scale_wind"]
    return view_of(row | {"volts": volts} | fix.get("changes", {})).results


FIXES = {
    "another wind": ({"wind_speed_m_s": 9.4}, {"changes": {"wind_speed_m_s": 4.2022}}),
    "another wind of the session": (
        {"wind_speed_start_m_s": 9.4, "wind_speed_end_m_s": 9.6},
        {"thing": "session",
         "changes": {"wind_speed_start_m_s": 4.2022, "wind_speed_end_m_s": 4.2916}},
    ),
    "another wind of each run": (
        {"wind_speed_m_s": math.nan, "run": {"wind_speed_m_s": 9.4}}, {"scale_wind": 0.44704},
    ),
    "other volts": ({}, {"scale_volts": 10.0}),
    "other volts of one run": ({}, {"scale_volts": 10.0, "run": 2}),
    "another load": ({"load_ohm": 301.0}, {"changes": {"load_ohm": 30.1}}),
}  # fmt: skip


@pytest.mark.parametrize(("row", "fix"), FIXES.values(), ids=FIXES)
@pytest.mark.parametrize("ln_share", [-1, -0.01, 0.01, 1])
def test_a_fix_is_proposed_if_the_fixed_trial_is_below_the_betz_limit(row, fix, ln_share):
    """Volts give the corrected trial e^x times the limit: the fix is proposed below 1."""
    row = dict(row)
    run, fix = row.pop("run", {}), {"thing": "trial"} | fix

    def with_volts(volts):
        return row | {"volts": [{"voltage_v": volts, **run}] * 3}

    at_one_volt = corrected(with_volts(1.0), fix).power_coefficient[0]
    volts = math.sqrt(BETZ * math.exp(ln_share) / at_one_volt)
    assert corrected(with_volts(volts), fix).power_coefficient[0] == pytest.approx(
        BETZ * math.exp(ln_share)
    )
    finding = proposed(with_volts(volts), fix)
    assert (finding.fix == fix) is (ln_share < 0)
    assert finding.is_fix_withdrawn is (ln_share > 0)


@pytest.mark.parametrize("rpm", [100, 120, 130, 1000, 1150, 1170, 3000])
def test_a_proposed_wind_is_withdrawn_unless_counted_turns_fit_it(rpm):
    row = {"wind_speed_m_s": 9.4, "volts": [{"voltage_v": 1.2, "rotor_speed_rpm": rpm}] * 3}
    fix = {"thing": "trial", "changes": {"wind_speed_m_s": 4.2022}}
    slowest, fastest = TIP_SPEEDS
    fits = slowest <= corrected(row, fix).tip_speed_ratio[0] <= fastest
    assert (proposed(row, fix).fix == fix) is bool(fits)


def test_turns_that_follow_from_volts_are_no_reason_against_a_wind():
    """0.5 mV·s/rad makes 2,400 rad/s of 1.2 V, a hundred times the wind: not counted."""
    row = {"wind_speed_m_s": 9.4, "emf_constant_v_s_rad": 5e-4, "winding_resistance_ohm": 1.0,
           "volts": [{"voltage_v": 1.2}] * 3}  # fmt: skip
    fix = {"thing": "trial", "changes": {"wind_speed_m_s": 4.2022}}
    assert corrected(row, fix).tip_speed_ratio[0] > 100
    assert proposed(row, fix).fix == fix


def test_a_finding_without_a_proposal_stays_as_it_is():
    finding = make_finding(0, "cold_fan", "warn", value=2.0)
    assert with_sound_fix(view_of({}), finding) is finding
