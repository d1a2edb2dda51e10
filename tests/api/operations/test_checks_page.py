"""The page of all data checks: its content, and that the one in the repository is current."""

from pathlib import Path

import pytest

from analysis.checks.rules import RULES
from api.messages import catalogue
from api.services.operations.checks_page import checks_page


def test_the_page_is_what_the_rules_say():
    page = Path(__file__).parents[3] / "analysis" / "CHECKS.md"
    assert page.read_text(encoding="utf-8") == checks_page()


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: f"{rule.name}_{rule.severity}")
def test_words_say_what_to_do(rule):
    forms, name = catalogue().forms, f"{rule.name}_{rule.severity}"
    advice = forms[f"check_advice.{name}"][0]
    assert advice[-1] in ".?"
    assert len(advice.split()) >= 3
    messages = [texts[0] for key, texts in forms.items()
                if key == f"check.{name}" or key.startswith(f"check.{name}_")]  # fmt: skip
    assert messages
    assert all(text[-1] in ".?" for text in messages)
