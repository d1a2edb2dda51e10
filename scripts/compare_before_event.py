#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Compare teams before an event: who can be compared, in which order and how surely, who is ready.

Shows each team's expected range and chances, the pairs that can be distinguished, what would join
those that cannot be compared yet, and how ready each team is. Without --event the season's newest.

The access key is read from the variable GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE
(default ~/.config/gustbook/key), which only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import argparse
import json
from typing import Any

from client import Gustbook
from client.command_line import OK, find_season, options_parser, run

EXAMPLES = """\
examples:
  compare_before_event.py
  compare_before_event.py --event "Spring meeting" --pairs
  compare_before_event.py --format json

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
STEPS_SHOWN = 5


def read_event(gustbook: Gustbook, options: argparse.Namespace) -> dict[str, Any]:
    """Return forecast, comparison, readiness and plan of an event."""
    season = find_season(gustbook, options.season)
    event = gustbook.find("events", options.event, season_id=season["id"])
    return {
        "event": event,
        "outlook": gustbook.get(f"/v1/events/{event['id']}/outlook"),
        "comparison": gustbook.comparison(season["id"], event_id=event["id"]),
        "readiness": gustbook.get(f"/v1/events/{event['id']}/readiness"),
        "plan": gustbook.get(f"/v1/seasons/{season['id']}/plan"),
    }


def to_text(event_facts: dict[str, Any], *, with_pairs: bool) -> str:
    """Return an event's forecast, links and readiness as lines to read."""
    event, outlook = event_facts["event"], event_facts["outlook"]
    lines = [f"{event['name']} on {event['held_on']}: {outlook['entrants']} teams can be placed"]
    lines += [
        "",
        "Forecast (range of eight cases in ten; chances to be first, in the first three)",
    ]
    lines += [_team(team) for team in outlook["teams"]] or [f"  nobody: {outlook['reason']}"]
    sure = [pair for pair in outlook["pairs"] if pair["statement"] != "too_close"]
    lines += ["", f"{len(sure)} of {len(outlook['pairs'])} pairs can be distinguished"]
    if with_pairs:
        lines += [f"  {pair['sentence']}" for pair in sure]
    lines += _links(event_facts)
    lines += ["", "Who is ready"]
    teams = event_facts["readiness"]["teams"]
    lines += [
        f"  {team['team_name']:16} {team['status']:10} {team['next_action']}" for team in teams
    ]
    if event_facts["readiness"]["reason"]:
        lines.append(f"  not known: {event_facts['readiness']['reason']}")
    return "\n".join(lines) + "\n"


def _team(team: dict[str, Any]) -> str:
    if team["range_80_w"] is None:
        return f"  {team['team_name']:16} cannot be placed: {team['reason']}"
    low, high = (1000 * each for each in team["range_80_w"])
    chances = f"{100 * team['first']:3.0f} %  {100 * team['top_three']:3.0f} %"
    span = f"{low:5.0f} to {high:4.0f} mW"
    untested = team["untested_build_number"]
    note = f"  (build {untested} has no counted trial yet)" if untested else ""
    return f"  {team['team_name']:16} build {team['build_number']:2}  {span}  {chances}{note}"


def _links(event_facts: dict[str, Any]) -> list[str]:
    links = event_facts["comparison"]["missing_links"]
    lines = ["", "What would make all comparable"] if links else []
    lines += [f"  {link['sentence']}" for link in links]
    lines += ["", "What would narrow the uncertainty most"]
    plan = event_facts["plan"]
    lines += [f"  {step['sentence']}" for step in plan["steps"][:STEPS_SHOWN]]
    lines += [f"  Or: {plan['visit_day']['sentence']}"] if plan["visit_day"] else []
    return lines + ([f"  nothing to plan: {plan['reason']}"] if plan["reason"] else [])


def main(arguments: list[str] | None = None) -> int:
    """Show what the command line asks for; return the exit code."""
    parser = options_parser(__doc__, EXAMPLES)
    parser.add_argument("--season", help="its name or id (default: the running one)")
    parser.add_argument("--event", help="name of the event (default: the newest)")
    parser.add_argument("--pairs", action="store_true", help="also name each of these pairs")
    parser.add_argument("--format", choices=["text", "json"], default="text")
    options = parser.parse_args(arguments)

    def work(gustbook: Gustbook) -> int:
        event_facts = read_event(gustbook, options)
        if options.format == "json":
            print(json.dumps(event_facts, indent=1, ensure_ascii=False))
        else:
            print(to_text(event_facts, with_pairs=options.pairs), end="")
        return OK

    return run(options.url, work)


if __name__ == "__main__":
    raise SystemExit(main())
