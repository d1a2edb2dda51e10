"""The scripts print what their README shows."""

import re
from pathlib import Path

from scripts import register_season
from scripts.check_data import open_questions, to_text
from scripts.submit_trials import SubmitOptions, submit_files
from tests.support.gustbooks import gustbook_of

ROOT = Path(__file__).parents[2]
README = (ROOT / "scripts/README.md").read_text(encoding="utf-8")
IMPORT = re.compile(r"imp_[0-9A-Z]+")


def shown(command, at=0):
    """Return the output that the README shows below a command."""
    blocks = re.findall(rf"\$ {re.escape(command)}\n(.*?)```", README, re.S)
    return IMPORT.sub("imp_", blocks[at])


def test_the_first_ten_minutes_print_what_is_shown(lead, tmp_path, capsys):
    gustbook = gustbook_of(lead)
    new = register_season.register(gustbook, ROOT / "demo_seed")
    body = f"registered: {register_season.words_of_new(new)}\n"
    assert body == shown(".venv/bin/python scripts/register_season.py demo_seed")
    sheet = tmp_path / "march.csv"
    text = re.search(r"```text\n(team;build;.*?)```", README, re.S)[1]
    submit = ".venv/bin/python scripts/submit_trials.py march.csv"
    for at, content in enumerate(
        (text, text.replace("1,l9", "1,19").replace("Dunlyn", "Dunlin").replace("1480", "1,48"))
    ):
        sheet.write_text(content, encoding="utf-8")
        capsys.readouterr()
        submit_files(gustbook, [sheet], SubmitOptions())
        assert IMPORT.sub("imp_", capsys.readouterr().out) == shown(submit, at)
    sheet = tmp_path / "april.csv"
    sheet.write_text(
        "team;build;session_started_at;client_ref;load_ohm;load_connected;voltage_v;"
        "wind_speed_m_s;adult_present\n"
        "Heron;2;2026-03-05 14:30;heron-2;22,0;yes;1,25;9,4;yes\n",
        encoding="utf-8",
    )
    submit_files(gustbook, [sheet], SubmitOptions())
    body = to_text(open_questions(gustbook, None, with_warnings=False))
    assert f"season: Spring 2026\n{body}" == shown(".venv/bin/python scripts/check_data.py")
