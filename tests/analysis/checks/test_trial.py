"""Checks of one trial: each rule at its limit, and proposed fixes."""

from tests.support.check_edges import edges_of
from tests.support.checked_trials import REFERENCE, broken_rules, finding_of, words


@edges_of("trial")
def test_each_rule_at_its_limit(name, severity, inside, outside):
    assert (name, severity) not in broken_rules(inside, REFERENCE)
    assert (name, severity) in broken_rules(outside, REFERENCE)


def test_one_reading_with_a_missing_decimal_point():
    one = finding_of({"volts": (0.016, 0.166, 0.163)}, REFERENCE, rule="runs_disagree")
    assert words(one)["message"] == (
        "Your readings disagree: 0.016 V beside 0.166 V and 0.163 V. "
        "Is a decimal point missing? 0.16 V would fit."
    )
    assert one.fix == {"thing": "trial", "scale_volts": 10.0, "run": 1}


def test_readings_that_no_shift_explains():
    one = finding_of({"volts": (1.2, 1.69, 1.22)}, REFERENCE, rule="runs_disagree")
    assert words(one)["message"] == "Your readings disagree: 1.69 V beside 1.2 V and 1.22 V."
    assert one.fix is None


def test_of_two_readings_the_impossible_one_is_meant():
    one = finding_of({"volts": (0.0012, 1.2)}, REFERENCE, rule="runs_disagree")
    assert one.fix == {"thing": "trial", "scale_volts": 1000.0, "run": 1}
    both = finding_of({"volts": (0.12, 1.2)}, REFERENCE, rule="runs_disagree")
    assert both.fix is None


def test_a_millionth_of_the_power():
    """1.2 mV across 30.1 Ω are 48 nW; volts make the coefficient of the worked trial."""
    one = finding_of({"volts": (0.0012, 0.0012, 0.00121)}, REFERENCE, rule="unmeasurable_power")
    assert words(one)["message"].endswith("Is 0.00121 V in another unit? 1.21 V would fit.")
    assert one.fix == {"thing": "trial", "scale_volts": 1000.0}


def test_the_other_angle():
    pitch = finding_of({"pitch_deg": 78.0}, REFERENCE, rule="pitch_from_axis")
    assert pitch.fix == {"thing": "trial", "changes": {"pitch_deg": 12.0}}
