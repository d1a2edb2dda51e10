"""The reference rotor's runs: changes of a bench, and the time since the last run."""

import math

import pytest

from tests.support.checked_trials import REFERENCE, broken_rules, check, session_on


@pytest.mark.parametrize(
    ("volts", "expected"),
    # ln P moves by twice ln V: 0.10, 0.14, 0.20 in ln P
    [(1.3 * math.exp(0.05), None), (1.3 * math.exp(0.07), "warn"),
     (1.3 * math.exp(0.10), "hold")],
)  # fmt: skip
def test_a_reference_run_off_its_usual(volts, expected):
    rows = [session_on(day) | REFERENCE | {"volts": (1.3, 1.3, 1.31)} for day in range(3)]
    rows += [session_on(5) | REFERENCE | {"volts": (volts, volts, volts + 0.01)}]
    fields = {severity for name, severity in broken_rules(*rows, at=3) if name == "reference_off"}
    assert fields == ({expected} if expected else set())


def test_a_reference_power_that_was_confirmed_is_usual_from_then_on():
    """A new resistor in the box: 30 % more from day 5 on, confirmed once."""
    rows = [session_on(day) | REFERENCE | {"volts": (1.3, 1.3, 1.31)} for day in range(3)]
    more = [session_on(day) | REFERENCE | {"volts": (1.5, 1.5, 1.51)} for day in (5, 6, 7)]
    (one,) = [each for each in check(*rows, *more) if each.trial == 3]
    fields = {("s5", "reference_off"): one.seen}
    for at in (4, 5):
        assert ("reference_off", "hold") in broken_rules(*rows, *more, at=at)
        assert ("reference_off", "hold") not in broken_rules(*rows, *more, at=at, confirmed=fields)


def test_a_suspect_reference_run_does_not_count_as_usual():
    rows = [session_on(day) | REFERENCE | {"volts": (1.3, 1.3, 1.31)} for day in range(3)]
    odd = session_on(5) | REFERENCE | {"volts": (1.3, 1.3, 1.9)}  # its runs disagree
    assert {"reference_off"} & {name for name, _ in broken_rules(*rows, odd, at=3)} == set()


@pytest.mark.parametrize(("days", "missing"), [(14, False), (15, True)])
def test_two_weeks_without_a_reference_run(days, missing):
    rows = [session_on(0) | REFERENCE, session_on(days)]
    assert (("no_reference", "warn") in broken_rules(*rows, at=1)) is missing
