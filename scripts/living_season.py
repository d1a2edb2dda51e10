"""Turn the invented season into one that is under way today, three weeks before its event.

Move every date by the same number of weeks, and leave out trials that are later than three weeks
before the event, so that the numbers are the same on any day and only the dates differ.
"""

import csv
import re
from collections.abc import Iterable
from datetime import date, timedelta
from pathlib import Path

#: The newest day of the written season that is in the past, 25 days before its event. Today is one
#: to seven days later, whatever the day of the week.
NEWEST = date(2026, 4, 7)
DAY = re.compile(r"\b20\d\d-\d\d-\d\d\b")
NOT_YET = ("trials_event.csv",)
SEASONS = ("Winter", "Spring", "Summer", "Autumn")


def weeks_since(today: date) -> int:
    """Return the number of weeks by which to move the written season.

    >>> [weeks_since(date(2026, 4, day)) for day in (8, 14, 15)]
    [0, 0, 1]
    """
    return (today - NEWEST - timedelta(days=1)).days // 7


def move(text: str, weeks: int) -> str:
    """Return a text with all its dates moved.

    >>> move("2026-03-05 14:30;due 2026-05-16", 2)
    '2026-03-19 14:30;due 2026-05-30'
    """
    by = timedelta(weeks=weeks)
    return DAY.sub(lambda match: (date.fromisoformat(match[0]) + by).isoformat(), text)


def name_of(day: date) -> str:
    """Return the part of the year that contains a day.

    >>> name_of(date(2026, 5, 2)), name_of(date(2026, 12, 19))
    ('Spring', 'Winter')
    """
    return SEASONS[day.month % 12 // 3]


def write(seed: Path, folder: Path, today: date) -> None:
    """Write the tables of the season as of today into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    weeks = weeks_since(today)
    held_on = date.fromisoformat(_rows(seed / "events.csv")[1][1]) + timedelta(weeks=weeks)
    season_name = f"{name_of(held_on)} {held_on.year}"
    tested = _tested_builds(seed)
    for path in _files(seed, "*.csv") + _files(seed, "*.json"):
        if path.name in NOT_YET:
            continue
        text = path.read_bytes().decode("utf-8")
        if path.name.startswith("trials_"):
            text = "".join(line for line in text.splitlines(True) if _has_happened(line))
        if path.name == "builds.csv":
            text = "".join(_only_tested(text.splitlines(True), tested))
        text = re.sub(r"\bSpring 20\d\d\b", season_name, move(text, weeks))
        text = text.replace("Spring meeting", f"{name_of(held_on)} meeting")
        (folder / path.name).write_bytes(text.encode("utf-8"))


def _files(seed: Path, pattern: str) -> list[Path]:
    """Return files of the season, without files of rows refused at an earlier submission."""
    return [path for path in sorted(seed.glob(pattern)) if not path.match("*.refused.csv")]


def _has_happened(line: str) -> bool:
    day = DAY.search(line)
    return day is None or date.fromisoformat(day[0]) <= NEWEST


def _tested_builds(seed: Path) -> set[tuple[str, str]]:
    """Return the builds that were tested until today, by team and number."""
    tested = set()
    for path in _files(seed, "trials_*.csv"):
        titles, *rows = _rows(path)
        team, number, when = (
            titles.index(name) for name in ("team", "build", "session_started_at")
        )
        tested |= {(row[team], row[number]) for row in rows if _has_happened(row[when])}
    return tested


def _only_tested(lines: Iterable[str], tested: set[tuple[str, str]]) -> Iterable[str]:
    for line in lines:
        _, team, _, number, *_ = line.split(",")
        if (team, number) in tested or number == "number":
            yield line


def _rows(path: Path) -> list[list[str]]:
    """Return the rows of a table with any of the delimiters comma, semicolon and tab."""
    text = path.read_bytes().decode("utf-8-sig")
    first = text.split("\n", 1)[0]
    return list(csv.reader(text.splitlines(), delimiter=max(",;\t", key=first.count)))
