"""The demo season is under way on the day of the demo, with the same numbers on any day."""

import re
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest

from scripts.living_season import DAY, write

SEED = Path(__file__).parents[2] / "demo_seed"
DAYS = [date(2026, 11, 29), date(2027, 2, 28), date(2028, 2, 29), date(2026, 12, 31)]


def days_of(folder, pattern):
    return sorted({
        date.fromisoformat(day)
        for path in folder.glob(pattern)
        for day in DAY.findall(path.read_text(encoding="utf-8"))
    })  # fmt: skip


@pytest.mark.parametrize("today", [DAYS[0] + timedelta(days=at) for at in range(7)] + DAYS[1:])
def test_the_event_is_three_weeks_ahead_and_the_last_session_of_this_week(today, tmp_path):
    write(SEED, tmp_path, today)
    (held_on,) = days_of(tmp_path, "events.csv")
    assert timedelta(days=18) <= held_on - today <= timedelta(days=24)
    assert held_on.weekday() == 5  # a Saturday, as written
    tested = days_of(tmp_path, "trials_*.csv")
    assert timedelta(days=1) <= today - tested[-1] <= timedelta(days=7)
    begins, ends = days_of(tmp_path, "season.csv")
    assert begins <= tested[0] < today < held_on <= ends
    assert max(days_of(tmp_path, "loans.csv")) > today


def test_only_dates_and_the_names_of_the_year_differ(tmp_path):
    texts = []
    for at, today in enumerate(DAYS):
        write(SEED, tmp_path / str(at), today)
        texts_of_files = [(path.name, DAY.sub("day", path.read_text(encoding="utf-8")))
                 for path in sorted((tmp_path / str(at)).iterdir())]  # fmt: skip
        named = r"(Winter|Spring|Summer|Autumn)( 20\d\d| meeting)"
        texts.append([(name, re.sub(named, "name", text)) for name, text in texts_of_files])
    assert all(text == texts[0] for text in texts)


def test_no_build_is_registered_that_nobody_tested_yet(tmp_path):
    write(SEED, tmp_path, DAYS[0])
    builds = (tmp_path / "builds.csv").read_text(encoding="utf-8").splitlines()
    all_builds = (SEED / "builds.csv").read_text(encoding="utf-8").splitlines()
    assert 100 < len(builds) < len(all_builds)
    assert builds[:2] == all_builds[:2]


def test_rows_that_were_refused_before_are_no_part_of_the_season(tmp_path):
    seed, living = tmp_path / "seed", tmp_path / "living"
    shutil.copytree(SEED, seed)
    (seed / "trials_tarnwick.refused.csv").write_text("team,build,problem\n", encoding="utf-8")
    write(seed, living, DAYS[0])
    assert (living / "trials_tarnwick.csv").exists()
    assert not (living / "trials_tarnwick.refused.csv").exists()
