#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Compare teams before an event: who can be compared, in which order and how surely, who is ready.

Shows each team's expected range and chances, the pairs that can be told apart, what would join
those that cannot be compared yet, and how ready each team is. Without --event the season's newest.

The access key is read from the variable GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE
(default ~/.config/gustbook/key), which only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import argparse
import json
import os
import stat
import sys
import time
from pathlib import Path
from typing import Any

import httpx

EXAMPLES = """\
examples:
  compare_before_event.py
  compare_before_event.py --event "Spring meeting" --pairs
  compare_before_event.py --format json

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
OK, REFUSED, USAGE, KEY, SERVER = range(5)
TRIES = 5
STEPS_SHOWN = 5

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


def find(client: Any, collection: str, name: str | None, **filters: str) -> dict[str, Any]:
    """Return the newest thing of a collection, or the one of that name."""
    items: list[dict[str, Any]] = []
    path: str | None = f"/v1/{collection}?" + "&".join(f"{k}={v}" for k, v in filters.items())
    while path:
        answer = require_ok(ask(client, "GET", path))
        items += answer.json()["items"]
        path = answer.links.get("next", {}).get("url")
    wanted = [item for item in items if name is None or _same(name, item["name"])]
    if not wanted:
        known = ", ".join(sorted(item["name"] for item in items)) or "none yet"
        raise Stop(REFUSED, f"no such name in {collection}; there are: {known}")
    if name is not None and len(wanted) > 1:
        raise Stop(
            USAGE, f"{name} is the name of several in {collection}; name the organisation too"
        )
    return wanted[-1]


def _same(one: str, other: str) -> bool:
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


def read_all(client: Any, options: argparse.Namespace) -> dict[str, Any]:
    """Return outlook, comparison and readiness of an event."""
    season = season_of(client, options.season)
    event = find(client, "events", options.event, season_id=season["id"])

    def get(path: str) -> Any:
        return require_ok(ask(client, "GET", path)).json()

    return {
        "event": event,
        "outlook": get(f"/v1/events/{event['id']}/outlook"),
        "comparison": get(f"/v1/seasons/{season['id']}/comparison?event_id={event['id']}"),
        "readiness": get(f"/v1/events/{event['id']}/readiness"),
        "plan": get(f"/v1/seasons/{season['id']}/plan"),
    }


def to_text(found: dict[str, Any], *, with_pairs: bool) -> str:
    """Return what is known before an event as lines to read."""
    event, outlook = found["event"], found["outlook"]
    lines = [f"{event['name']} on {event['held_on']}: {outlook['entrants']} teams can be placed"]
    lines += [
        "",
        "What may come (range of eight cases in ten; chances to be first, in the first three)",
    ]
    lines += [_team(team) for team in outlook["teams"]] or [f"  nobody: {outlook['reason']}"]
    sure = [pair for pair in outlook["pairs"] if pair["statement"] != "too_close"]
    lines += ["", f"{len(sure)} of {len(outlook['pairs'])} pairs can be told apart"]
    if with_pairs:
        lines += [f"  {pair['sentence']}" for pair in sure]
    lines += _links(found)
    lines += ["", "Who is ready"]
    teams = found["readiness"]["teams"]
    lines += [
        f"  {team['team_name']:16} {team['status']:10} {team['next_action']}" for team in teams
    ]
    if found["readiness"]["reason"]:
        lines.append(f"  not known: {found['readiness']['reason']}")
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


def _links(found: dict[str, Any]) -> list[str]:
    links = found["comparison"]["missing_links"]
    told = ["", "What would join the others"] if links else []
    told += [f"  {link['sentence']}" for link in links]
    told += ["", "What would narrow the doubt most"]
    plan = found["plan"]
    told += [f"  {step['sentence']}" for step in plan["steps"][:STEPS_SHOWN]]
    told += [f"  Or: {plan['visit_day']['sentence']}"] if plan["visit_day"] else []
    return told + ([f"  nothing to plan: {plan['reason']}"] if plan["reason"] else [])


def main(arguments: list[str] | None = None) -> int:
    """Show what the command line asks for; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--season", help="its name or id (default: the running one)")
    parser.add_argument("--event", help="name of the event (default: the newest)")
    parser.add_argument("--pairs", action="store_true", help="also name each pair told apart")
    parser.add_argument("--format", choices=["text", "json"], default="text")
    parser.add_argument("--url", default=os.environ.get("GUSTBOOK_URL", "http://127.0.0.1:8000"))
    options = parser.parse_args(arguments)
    try:
        with open_client(options.url, read_key()) as client:
            found = read_all(client, options)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code
    if options.format == "json":
        print(json.dumps(found, indent=1, ensure_ascii=False))
    else:
        print(to_text(found, with_pairs=options.pairs), end="")
    return OK


if __name__ == "__main__":
    raise SystemExit(main())
