"""All checks together: a clean trial has no findings, and every rule has a test."""

import pytest

from analysis.checks.all_checks import CHECKS, blocking_rules
from analysis.checks.rules import RULES
from tests.support.check_edges import EDGES
from tests.support.checked_trials import REFERENCE, broken_rules, check, words


def test_a_clean_session_is_clean():
    assert broken_rules({}, REFERENCE) == set()


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

    def names(findings, offset=0):
        return {(each.trial + offset, each.rule.name, words(each)["message"]) for each in findings}

    together = names(check(*rows))
    assert together == names(check(*rows[:4])) | names(check(*rows[4:]), offset=4)
    assert {"rotor_wider_than_jet", "mixed_change", "edge_optimum"} <= {
        each[1] for each in together
    }


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
    """A rule without a case, or a check that is not listed, would go unnoticed."""
    by_themselves = {
        ("voltage_unlike_before", "hold"), ("voltage_unlike_before", "warn"),
        ("decimal_slip", "hold"), ("duplicate", "hold"), ("wrong_build", "warn"), ("jump", "warn"),
        ("reference_off", "warn"), ("reference_off", "hold"), ("no_reference", "warn"),
        ("edge_optimum", "info"), ("not_a_power_law", "warn"), ("load_not_stated", "block"),
        ("supervisor_missing", "block"), ("meter_over_range", "block"),
    }  # fmt: skip
    at_their_limits = {edge[:2] for rows in EDGES.values() for edge in rows}
    assert at_their_limits | by_themselves == set(RULES)
    assert len(CHECKS) == len(set(CHECKS))
