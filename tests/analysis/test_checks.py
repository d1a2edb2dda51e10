"""Data checks: each finds what it should, at its limit, and nothing in a clean trial."""

import math

import pytest

from analysis.checks import CHECKS, blocking_rules, check_trials
from tests.analysis.test_trial_result import result_of, trials_frame


def found(readings=(1.2, 1.19, 1.21), **changed):
    """Return rule and severity of what the checks find in the worked trial, changed."""
    results = result_of(readings, **changed)
    return [
        (finding.rule.name, finding.rule.severity)
        for finding in check_trials(trials_frame(changed), results)
    ]


def test_a_clean_trial_is_clean():
    assert found() == []


def volts_apart(ln_power):
    """Return two voltages whose powers differ by that much on the logarithmic scale."""
    return (1.2, 1.2 * math.exp(ln_power / 2))


@pytest.mark.parametrize(
    ("ln_power", "expected"),
    # 3.3 and 5 times 4 %: ISO 5725-6 critical range [memory]
    [(0.129, []), (0.131, [("runs_disagree", "warn")]), (0.199, [("runs_disagree", "warn")]),
     (0.201, [("runs_disagree", "hold")])],
)  # fmt: skip
def test_runs_that_disagree(ln_power, expected):
    assert found(volts_apart(ln_power)) == expected


def test_a_run_at_rest_disagrees():
    assert ("runs_disagree", "hold") in found((1.2, 0.0))


@pytest.mark.parametrize(
    ("coefficient", "expected"), [(0.59, []), (0.595, [("impossible_power", "hold")])]
)
def test_more_than_the_wind_can_give(coefficient, expected):
    # Betz: 16/27 = 0.5926 of ½ρAv³
    wind = result_of().wind_power_w[0]
    volts = math.sqrt(coefficient * wind * 30.1)
    assert found((volts,), meter_range_v=200.0 if volts > 20 else 20.0) == expected


@pytest.mark.parametrize(
    ("volts", "expected"), [(2.0, []), (1.99, [("meter_range_coarse", "warn")])]
)
def test_a_tenth_of_the_range(volts, expected):
    assert found((volts,), meter_range_v=20.0) == expected


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, []),
        ({"load_ohm": None}, ["load_not_stated"]),
        ({"load_connected": None}, ["load_not_stated"]),
        ({"load_connected": False}, ["load_not_stated"]),
        ({"load_ohm": None, "load_connected": None, "kind": "open_circuit"}, []),
        ({"adult_present": False}, ["supervisor_missing"]),
        ({"voltages_v": [1.2, 2.0]}, ["meter_over_range"]),
        ({"voltages_v": [-2.5]}, ["meter_over_range"]),
        ({"voltages_v": [2.5], "meter_range_v": None}, []),
    ],
)
def test_what_blocks_a_trial(changed, expected):
    facts = {
        "kind": "record", "load_ohm": 30.1, "load_connected": True, "adult_present": True,
        "meter_range_v": 2.0, "voltages_v": [1.2, 1.999],
    }  # fmt: skip
    assert [rule.name for rule in blocking_rules(**(facts | changed))] == expected


def test_every_rule_says_what_is_wrong_and_what_to_do():
    for rule, _ in CHECKS:
        assert rule.message.endswith((".", "?"))
        assert rule.advice.endswith((".", "?"))
        assert rule.severity in ("hold", "warn", "info")
