"""Free text with and without personal data."""

import pytest

from tests.support.check_edges import edges_of
from tests.support.checked_trials import REFERENCE, broken_rules


@edges_of("personal_data")
def test_each_rule_at_its_limit(name, severity, inside, outside):
    assert (name, severity) not in broken_rules(inside, REFERENCE)
    assert (name, severity) in broken_rules(outside, REFERENCE)


@pytest.mark.parametrize(
    "note",
    ["call 0171 234 5678", "+49 171 2345678", "555-123-4567", "(0171) 23 45 67",
     "Frau Lindner was there", "Anna Berg held the tower", "José García held it", "by Łukasz Żak",
     "a.b@c.de"],
)  # fmt: skip
def test_text_with_a_name_is_found(note):
    assert ("personal_data", "warn") in broken_rules({"note": note}, REFERENCE)


@pytest.mark.parametrize("place", ["session_note", "build_note", "team_name"])
def test_wherever_a_person_is_named(place):
    assert ("personal_data", "warn") in broken_rules({place: "Anna Berg"}, REFERENCE)


@pytest.mark.parametrize(
    "note",
    ["Blade Two", "The Fan was on Setting Two", "pitch 12.5, 3 runs", "new card 0.5 mm", "",
     "done again on 2026-03-05 14:30", "12.03.2026", "read 1200 1190 1210 mV", "0.45 0.46 0.47"],
)  # fmt: skip
def test_text_without_a_name_is_not_found(note):
    assert broken_rules({"note": note}, REFERENCE) == set()
