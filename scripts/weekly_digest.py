#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Print what waits this week as a text for a mail: questions, the event, loans, quiet teams.

It sends nothing by itself: run it from cron, and let the system's own mail program send it.

The access key is read from the variable GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE
(default ~/.config/gustbook/key), which only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import sys
from datetime import UTC, datetime, timedelta
from typing import Any

from client import Gustbook
from client.command_line import OK, find_season, options_parser, run

EXAMPLES = """\
examples:
  weekly_digest.py                         what waits in the season that is running
  weekly_digest.py --season "Spring 2026"  in a named one

  in a crontab, Mondays at seven:
  0 7 * * 1  weekly_digest.py | mail -s "Wind turbines this week" coach@example.org

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
QUIET_AFTER = timedelta(days=14)
SHOWN = 8  # lines of a part; the rest are counted


def part(title: str, lines: list[str]) -> list[str]:
    """Return a part of the digest, shortened; nothing if it has no lines."""
    if not lines:
        return []
    more = [f"  … and {len(lines) - SHOWN} more"] if len(lines) > SHOWN else []
    return ["", title, *(f"  {line}" for line in lines[:SHOWN]), *more]


def questions(gustbook: Gustbook, season: Any) -> list[str]:
    """Return a line for each question that holds a trial back."""
    asked = {"state": "open", "severity": "hold", "season_id": season["id"]}
    return [f"{each['about']}: {each['message']}" for each in gustbook.flags(**asked)]


def next_event(gustbook: Gustbook, season: Any, now: datetime) -> Any | None:
    """Return the next event of a season, or None."""
    coming = [
        event
        for event in gustbook.events(season_id=season["id"])
        if event["held_on"] >= f"{now:%Y-%m-%d}"
    ]
    return min(coming, key=lambda event: event["held_on"], default=None)


def readiness(gustbook: Gustbook, event: Any) -> list[str]:
    """Return a line for each team that is not ready for an event yet."""
    answer = gustbook.get(f"/v1/events/{event['id']}/readiness")
    return [
        f"{team['team_name']} ({team['status']}): {team['next_action']}"
        for team in answer["teams"]
        if team["status"] != "ready"
    ]


def quiet_teams(report: Any, now: datetime) -> list[str]:
    """Return a line for each team without a trial for two weeks."""
    lines = []
    for school in report["organisations"]:
        for team in school["teams"]:
            last = team["last_trial_at"]
            if last is None:
                lines.append(f"{team['name']}, {school['name']}: no trial yet")
            elif datetime.fromisoformat(last) < now - QUIET_AFTER:
                lines.append(f"{team['name']}, {school['name']}: last trial {last[:10]}")
    return lines


def digest(gustbook: Gustbook, season: Any, now: datetime) -> str:
    """Return the digest of a season."""
    report = gustbook.report("season", season["id"])
    event = next_event(gustbook, season, now)
    loans = [
        f"{loan['tag']}: {loan['days_overdue']} days overdue"
        for loan in gustbook.each("/v1/loans", state="overdue")
    ]
    held = questions(gustbook, season)
    lines = [f"{season['name']}, {now:%d %B %Y}"]
    lines += part(f"Need an answer and are not counted yet: {len(held)}", held)
    if not held:
        lines += ["", "Nothing needs an answer."]
    if event is not None:
        days = (datetime.fromisoformat(event["held_on"]).date() - now.date()).days
        waiting = readiness(gustbook, event)
        lines += ["", f"{event['name']} is in {days} days; {len(waiting)} teams are not ready."]
        lines += part("Next step of each:", waiting)
    lines += part("Loans to be returned:", loans)
    lines += part("Teams without a trial for two weeks:", quiet_teams(report, now))
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Print the digest that the command line selects; return the exit code."""
    parser = options_parser(__doc__, EXAMPLES)
    parser.add_argument("--season", help="its name or id (default: the one that is running)")
    options = parser.parse_args(arguments)

    def work(gustbook: Gustbook) -> int:
        season = find_season(gustbook, options.season)
        sys.stdout.write(digest(gustbook, season, datetime.now(UTC)))
        return OK

    return run(options.url, work)


if __name__ == "__main__":
    raise SystemExit(main())
