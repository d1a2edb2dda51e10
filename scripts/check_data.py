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

import argparse
import csv
import io
import os
import stat
import sys
import time
from pathlib import Path
from typing import Any

import httpx

EXAMPLES = """\
examples:
  check_data.py                               what holds trials back, in every season
  check_data.py --season "Spring 2026" --all  warnings too, of one season
  check_data.py --format csv --out waits.csv  a table for a mail

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
OK, REFUSED, USAGE, KEY, SERVER = range(5)
TRIES = 5
COLUMNS = ("organisation", "about", "severity", "rule", "message", "advice", "flag_id", "season")
SHOWN = 3  # of a school's warnings at once; the rest are counted
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\0")

# --- the same lines in each script for coaches: how to reach the service ---------------------


SAFE_AGAIN = "Run this again when it is back: nothing is stored twice."


class Stop(Exception):
    """The end of a script, in words, with its exit code."""

    def __init__(self, code: int, words: str) -> None:
        super().__init__(words)
        self.code = code


def read_key() -> str:
    """Return the access key from the environment or a private file."""
    key = os.environ.get("GUSTBOOK_KEY", "").strip()
    if key:
        return key
    path = Path(os.environ.get("GUSTBOOK_KEY_FILE", Path.home() / ".config/gustbook/key"))
    if not path.is_file():
        raise Stop(KEY, f"no access key: set GUSTBOOK_KEY, or keep the key in {path}")
    if os.name != "nt" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise Stop(KEY, f"others can read {path}: run 'chmod 600 {path}'")
    return path.read_text(encoding="utf-8").strip()


def open_client(url: str, key: str, transport: Any = None) -> httpx.Client:
    """Return a client that sends the key."""
    try:
        return httpx.Client(
            base_url=url,
            headers={"Authorization": f"Bearer {key}"},
            timeout=120,
            transport=transport,
        )
    except (httpx.InvalidURL, UnicodeEncodeError) as error:
        raise Stop(USAGE, f"the address or the key cannot be used: {error}") from error


def ask(client: Any, method: str, path: str, **request: Any) -> Any:
    """Return the answer to a request; a lost connection or a busy service is tried again."""
    for attempt in range(1, TRIES + 1):
        try:
            answer = client.request(method, path, **request)
        except httpx.TransportError as error:
            lost = f"{client.base_url} cannot be reached: {error}. {SAFE_AGAIN}"
        else:
            if answer.status_code not in (429, 502, 503, 504):
                return answer
            lost = words_of(answer)
        if attempt < TRIES:
            time.sleep(min(8.0, 0.5 * 2**attempt))
    raise Stop(SERVER, lost)


def words_of(answer: Any) -> str:
    """Return a refusal in the service's own words."""
    try:
        problem = answer.json()
    except ValueError:
        problem = {}
    detail = problem.get("detail", "no reason given; is this the address of a Gustbook service?")
    return f"{answer.status_code} {problem.get('title', '')}: {detail}"


def require_ok(answer: Any) -> Any:
    """Return a good answer; stop at a refusal."""
    if answer.status_code in (401, 403):
        raise Stop(KEY, words_of(answer))
    if answer.status_code >= 500:
        raise Stop(SERVER, words_of(answer))
    if answer.status_code >= 400:
        raise Stop(REFUSED, words_of(answer))
    return answer


def season_of(client: Any, named: str | None) -> Any:
    """Return the season of that name or id, else the one that is meant today; say which it is."""
    path: str | None = "/v1/seasons?limit=200"
    if named is None:
        season = require_ok(ask(client, "GET", "/v1/seasons/current")).json()
        print(f"season: {season['name']}. {season['sentence']}", file=sys.stderr)
        return season
    known: list[Any] = []
    while path:
        answer = require_ok(ask(client, "GET", path))
        known += answer.json()["items"]
        path = answer.links.get("next", {}).get("url")
    wanted = " ".join(named.casefold().split())
    for season in known:
        if named == season["id"] or wanted == " ".join(season["name"].casefold().split()):
            print(f"season: {season['name']}", file=sys.stderr)
            return season
    listed = ", ".join(sorted(season["name"] for season in known)) or "none yet"
    raise Stop(REFUSED, f"no season {named}; there are: {listed}")


# --- end of the same lines -------------------------------------------------------------------


def everything(client: Any, collection: str, **filters: str) -> list[dict[str, Any]]:
    """Return all things of a collection, page after page."""
    items: list[dict[str, Any]] = []
    path: str | None = f"/v1/{collection}?" + "&".join(f"{k}={v}" for k, v in filters.items())
    while path:
        answer = require_ok(ask(client, "GET", path))
        items += answer.json()["items"]
        path = answer.links.get("next", {}).get("url")
    return items


def waiting(client: Any, season: Any | None, with_warnings: bool) -> list[dict[str, str]]:
    """Return what needs an answer, gravest first within each school: of a season, or of all."""
    schools = {each["id"]: each["name"] for each in everything(client, "organisations")}
    seasons = {each["id"]: each["name"] for each in everything(client, "seasons")}
    narrowed = {"state": "open"} | ({"season_id": season["id"]} if season else {})
    flags = everything(client, "flags", severity="hold", **narrowed)
    if with_warnings:
        flags += everything(client, "flags", severity="warn", **narrowed)
    rows = [
        {name: flag.get(name) or "" for name in COLUMNS}
        | {"organisation": schools.get(flag["organisation_id"], ""), "flag_id": flag["id"],
           "season": seasons.get(flag["season_id"], "")}
        for flag in flags
    ]  # fmt: skip
    places = list(seasons.values())
    return sorted(
        rows,
        key=lambda row: (
            -places.index(row["season"]) if row["season"] in places else 0,
            row["organisation"].casefold(),
            row["severity"] != "hold",
        ),
    )


def covered(client: Any) -> str:
    """Return in words that every season was looked at."""
    names = [each["name"] for each in everything(client, "seasons")]
    return f"{'seasons' if len(names) > 1 else 'season'}: {', '.join(names) or 'none yet'}"


def to_text(rows: list[dict[str, str]], holds_shown: int | None = None) -> str:
    """Return what needs an answer as lines to read, each that is held or the first of a school."""
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
    """Return rows to read, the rest of them counted."""
    more = [f"  … and {len(rows) - shown} more"] if len(rows) > shown else []
    return [_line(row) for row in rows[:shown]] + more


def _line(row: dict[str, str]) -> str:
    mark = "held" if row["severity"] == "hold" else "look"
    return f"  {mark}  {row['about']}: {row['message']} {row['advice']}"


def to_csv(rows: list[dict[str, str]]) -> str:
    """Return what waits as a table; no cell is taken for a formula by a spreadsheet."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        safe = {k: f"'{v}" if v.startswith(FORMULA_STARTS) else v for k, v in row.items()}
        writer.writerow(safe)
    return out.getvalue()


def main(arguments: list[str] | None = None) -> int:
    """List what the command line asks for; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("only", nargs="?", metavar="SEASON", help="the same as --season")
    parser.add_argument("--season", help="its name or id (default: every season)")
    parser.add_argument("--all", action="store_true", help="warnings too")
    parser.add_argument("--format", choices=["text", "csv"], default="text")
    parser.add_argument("--out", type=Path, help="file to write (default: standard output)")
    parser.add_argument("--url", default=os.environ.get("GUSTBOOK_URL", "http://127.0.0.1:8000"))
    options = parser.parse_args(arguments)
    try:
        with open_client(options.url, read_key()) as client:
            named = options.season or options.only
            season = season_of(client, named) if named else None
            rows = waiting(client, season, options.all)
            if season is None:
                print(covered(client), file=sys.stderr)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code
    told = to_text(rows) if options.format == "text" else to_csv(rows)
    if options.out is None:
        sys.stdout.write(told)
    else:
        options.out.write_text(told, encoding="utf-8-sig", newline="")
        print(f"written: {options.out}", file=sys.stderr)
    return OK


if __name__ == "__main__":
    raise SystemExit(main())
