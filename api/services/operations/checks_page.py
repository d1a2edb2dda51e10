"""All data checks as a page of Markdown, made from the rules and the message catalogue."""

import re

from analysis.checks.rules import RULES, Rule
from api.messages import catalogue

PAGE = """# The data checks

Made by `python -m api checks` from `analysis/checks/rules.py` and the message catalogue. `block`
refuses a trial, `hold` keeps it (or its complete session) out of reports until somebody answers,
`warn` and `info` only say something. No check ever changes a number: where it can tell which value
was probably meant it proposes it, and a person accepts it, keeps the value, or withdraws the trial.

Some mistakes cannot be seen in numbers: volts read without the load, another fan setting, or a
blade that slipped before all runs, the first time a setting is tried. They are asked for at entry
(was the load connected, which fan setting, pitch measured again afterwards), and one repeat of the
last setting at the start of every session shows them.

| rule | does | looks at | says |
|---|---|---|---|
"""


def checks_page() -> str:
    """Return all rules, one table row each."""
    return PAGE + "\n".join(_row(rule) for rule in RULES.values()) + "\n"


def _row(rule: Rule) -> str:
    name = f"{rule.name}_{rule.severity}"
    forms = catalogue().forms
    messages = [forms[key][0] for key in _keys(name)]
    advice = forms[f"check_advice.{name}"][0]
    words = re.sub(r"\{(\w+)[^}]*\}", r"{\1}", f"{' / '.join(messages)} {advice}")
    of = ", session" if rule.scope == "session" else ""
    return f"| `{rule.name}` | {rule.severity}{of} | {forms[f'check_about.{name}'][0]} | {words} |"


def _keys(name: str) -> list[str]:
    """Return the keys of a rule's sentences: one, or one for each variant."""
    keys = catalogue().forms
    return [key for key in keys if key == f"check.{name}" or key.startswith(f"check.{name}_")]
