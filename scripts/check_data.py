#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""List what needs an answer, school by school: as text to read, or as csv for a mail.

What a data check holds back is in no report until somebody answers. Each line says where it is,
what was seen, and what to do. Without --season every season is looked at; standard error says
which.

The access key is read from the variable GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE
(default ~/.config/gustbook/key), which only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import csv
import io
import sys
from pathlib import Path
from typing import Any

from client import Gustbook
from client.command_line import OK, find_season, options_parser, run, safe_cell

EXAMPLES = """\
examples:
  check_data.py                               what holds trials back, in every season
  check_data.py --season "Spring 2026" --all  warnings too, of one season
  check_data.py --format csv --out waits.csv  a table for a mail

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
COLUMNS = ("organisation", "about", "severity", "rule", "message", "advice", "flag_id", "season")
SHOWN = 3  # of a school's warnings at once; the rest are counted


def open_questions(
    gustbook: Gustbook, season: Any | None, with_warnings: bool
) -> list[dict[str, str]]:
    """Return the open questions of a season or of all seasons, gravest first in each school."""
    schools = {each["id"]: each["name"] for each in gustbook.organisations()}
    seasons = {each["id"]: each["name"] for each in gustbook.seasons()}
    filters = {"state": "open", "season_id": season and season["id"]}
    flags = [*gustbook.flags(severity="hold", **filters)]
    if with_warnings:
        flags += gustbook.flags(severity="warn", **filters)
    rows = [
        {name: flag.get(name) or "" for name in COLUMNS}
        | {"organisation": schools.get(flag["organisation_id"], ""), "flag_id": flag["id"],
           "season": seasons.get(flag["season_id"], "")}
        for flag in flags
    ]  # fmt: skip
    season_names = list(seasons.values())
    return sorted(
        rows,
        key=lambda row: (
            -season_names.index(row["season"]) if row["season"] in season_names else 0,
            row["organisation"].casefold(),
            row["severity"] != "hold",
        ),
    )


def seasons_line(gustbook: Gustbook) -> str:
    """Return a line with the names of all seasons."""
    names = [each["name"] for each in gustbook.seasons()]
    return f"{'seasons' if len(names) > 1 else 'season'}: {', '.join(names) or 'none yet'}"


def to_text(rows: list[dict[str, str]], holds_shown: int | None = None) -> str:
    """Return the questions as lines to read: all that hold trials, and a school's first others."""
    if not rows:
        return "Nothing needs an answer.\n"
    held = sum(row["severity"] == "hold" for row in rows)
    others = f"; {len(rows) - held} more to look at" if len(rows) > held else ""
    needs = "1 needs an answer and is" if held == 1 else f"{held} need an answer and are"
    lines = [f"{needs} not counted yet{others}"]
    seasons = list(dict.fromkeys(row["season"] for row in rows))
    for season in seasons:
        of_season = [row for row in rows if row["season"] == season]
        lines += ["", f"== {season}"] if len(seasons) > 1 else []
        for school in dict.fromkeys(row["organisation"] for row in of_season):
            mine = [row for row in of_season if row["organisation"] == school]
            holds = [row for row in mine if row["severity"] == "hold"]
            lines += ["", school, *_lines(holds, holds_shown or len(holds))]
            lines += _lines([row for row in mine if row["severity"] != "hold"], SHOWN)
    return "\n".join(lines) + "\n"


def _lines(rows: list[dict[str, str]], shown: int) -> list[str]:
    """Return the first rows as lines to read, and the number of the others."""
    more = [f"  … and {len(rows) - shown} more"] if len(rows) > shown else []
    return [_line(row) for row in rows[:shown]] + more


def _line(row: dict[str, str]) -> str:
    mark = "held" if row["severity"] == "hold" else "look"
    return f"  {mark}  {row['about']}: {row['message']} {row['advice']}"


def to_csv(rows: list[dict[str, str]]) -> str:
    """Return the questions as a table whose cells a spreadsheet does not take for formulas."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: safe_cell(text) for name, text in row.items()})
    return out.getvalue()


def main(arguments: list[str] | None = None) -> int:
    """List the questions that the command line selects; return the exit code."""
    parser = options_parser(__doc__, EXAMPLES)
    parser.add_argument("only", nargs="?", metavar="SEASON", help="the same as --season")
    parser.add_argument("--season", help="its name or id (default: every season)")
    parser.add_argument("--all", action="store_true", help="warnings too")
    parser.add_argument("--format", choices=["text", "csv"], default="text")
    parser.add_argument("--out", type=Path, help="file to write (default: standard output)")
    options = parser.parse_args(arguments)

    def work(gustbook: Gustbook) -> int:
        named = options.season or options.only
        season = find_season(gustbook, named) if named else None
        rows = open_questions(gustbook, season, options.all)
        if season is None:
            print(seasons_line(gustbook), file=sys.stderr)
        _write(to_text(rows) if options.format == "text" else to_csv(rows), options.out)
        return OK

    return run(options.url, work)


def _write(output: str, out: Path | None) -> None:
    if out is None:
        sys.stdout.write(output)
        return
    out.write_text(output, encoding="utf-8-sig", newline="")
    print(f"written: {out}", file=sys.stderr)


if __name__ == "__main__":
    raise SystemExit(main())
