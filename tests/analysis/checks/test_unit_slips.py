"""Checks of one trial for a value in a wrong unit: the proposed value is the one that was meant."""

from tests.support.checked_trials import REFERENCE, finding_of, words


def test_millivolts_typed_as_volts():
    one = finding_of({"volts": (1210.0, 1200.0, 1205.0)}, REFERENCE, rule="millivolt_slip")
    assert one.fix == {"thing": "trial", "scale_volts": 1e-3}


def test_kiloohms_typed_as_ohms():
    one = finding_of({"load_ohm": 0.03}, REFERENCE, rule="kiloohm_slip")
    assert one.fix == {"thing": "trial", "changes": {"load_ohm": 30.0}}


def test_ohms_with_a_slipped_decimal_point():
    rows = {"load_ohm": 301.0, "build_load_ohm": 30.1}
    one = finding_of(rows, REFERENCE, rule="load_slip")
    assert one.fix == {"thing": "trial", "changes": {"load_ohm": 30.1}}


def test_a_radius():
    one = finding_of({"sheet_diameter_m": 0.225}, REFERENCE, rule="diameter_slip")
    assert one.fix == {"thing": "trial", "changes": {"rotor_diameter_m": 0.45}}
    assert "a radius" in words(one)["message"]
