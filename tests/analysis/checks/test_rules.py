"""The list of rules: each occurs once, has one scope, and is in the order of severity."""

import inspect

from analysis.checks import rules
from analysis.checks.rules import GRAVEST, RULES
from tests.support.check_edges import EDGES


def test_no_rule_occurs_twice():
    """What has the same name and severity would be lost in the table."""
    assert inspect.getsource(rules).count("\n    Rule(") == len(RULES)


def test_a_rule_is_found_by_its_name_and_severity():
    assert all((rule.name, rule.severity) == key for key, rule in RULES.items())


def test_block_is_the_gravest_severity_and_info_the_least():
    assert sorted(GRAVEST, key=GRAVEST.get) == ["block", "hold", "warn", "info"]
    assert {rule.severity for rule in RULES.values()} == set(GRAVEST)


def test_a_rule_of_two_severities_is_about_the_same_thing():
    scopes = {rule.name: rule.scope for rule in RULES.values()}
    assert all(rule.scope == scopes[rule.name] for rule in RULES.values())


def test_findings_of_session_rules_belong_to_the_session_and_all_others_to_the_trial():
    for module, rows in EDGES.items():
        expected = "session" if module == "session" else "trial"
        assert {RULES[row[:2]].scope for row in rows} == {expected}, module


def test_a_rule_that_refuses_has_no_milder_form():
    severities = {}
    for name, severity in RULES:
        severities.setdefault(name, set()).add(severity)
    assert all(each in ({"block"}, {"info"}) or each <= {"hold", "warn"}
               for each in severities.values())  # fmt: skip
