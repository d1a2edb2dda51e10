"""Checks of a build's sweeps and changes, with and without findings."""

from tests.support.check_edges import edges_of
from tests.support.checked_trials import REFERENCE, broken_rules, check, words


@edges_of("build")
def test_each_rule_at_its_limit(name, severity, inside, outside):
    assert (name, severity) not in broken_rules(inside, REFERENCE)
    assert (name, severity) in broken_rules(outside, REFERENCE)


def test_a_sweep_with_its_best_at_the_end():
    rows = [{"kind": "pitch", "pitch_deg": pitch, "volts": (volts,) * 2 + (volts + 0.001,)}
            for pitch, volts in ((8.0, 1.0), (11.0, 1.1), (14.0, 1.2))]  # fmt: skip
    (one,) = [each for each in check(*rows, REFERENCE) if each.rule.name == "edge_optimum"]
    assert one.trial == 2
    assert words(one)["advice"] == "Try 19.6° next."  # 14 times 1.4
    suspect = [*rows[:2], rows[2] | {"volts": (1.2, 1.2, 1.9)}]  # the same pass holds it
    assert "edge_optimum" not in {name for name, _ in broken_rules(*suspect, REFERENCE)}
    turned = [*rows[:2], rows[2] | {"volts": (0.9, 0.9, 0.91)}]
    assert "edge_optimum" not in {name for name, _ in broken_rules(*turned, REFERENCE)}


def test_a_wind_sweep_of_no_plausible_exponent():
    rows = [{"kind": "wind", "wind_speed_m_s": speed, "volts": (volts, volts + 0.001)}
            for speed, volts in ((3.2, 1.3), (4.0, 1.2), (4.9, 1.1))]  # fmt: skip
    assert ("not_a_power_law", "warn") in broken_rules(*rows, REFERENCE, at=2)
