"""A session's air, fan, bench and day: each rule at its limit."""

from tests.support.check_edges import edges_of
from tests.support.checked_trials import REFERENCE, broken_rules, finding_of


@edges_of("session")
def test_each_rule_at_its_limit(name, severity, inside, outside):
    assert (name, severity) not in broken_rules(inside, REFERENCE)
    assert (name, severity) in broken_rules(outside, REFERENCE)


def test_degrees_fahrenheit():
    one = finding_of({"air_temperature_c": 49.0}, REFERENCE, rule="temperature_unit")
    assert one.fix == {"thing": "session", "changes": {"air_temperature_c": 9.4}}
