#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Draw the order of an event's runs, or show the one that was drawn last.

The order is drawn in blocks of one team of each school, with the reference rotor first, last and
after every six runs. The same seed and teams give the same order. Drawing needs a lead's key.

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
  run_order.py                          the order that was drawn last
  run_order.py --draw --seed 20260502   draw it, to be announced
  run_order.py --format csv > order.csv

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
OK, REFUSED, USAGE, KEY, SERVER = range(5)
TRIES = 5

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


def fetch(client: Any, options: argparse.Namespace) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return an event and its order, drawn anew where that is asked for."""
    season = season_of(client, options.season)
    event = find(client, "events", options.event, season_id=season["id"])
    path = f"/v1/events/{event['id']}/run-order"
    if not options.draw:
        return event, require_ok(ask(client, "GET", path)).json()
    asked = {"seed": options.seed, "attempts": options.attempts}
    given = {name: value for name, value in asked.items() if value is not None}
    return event, require_ok(ask(client, "POST", path, json=given)).json()


def to_text(event: dict[str, Any], order: dict[str, Any]) -> str:
    """Return an order as lines to print and tick."""
    lines = [f"{event['name']}, {event['held_on']}: order of runs, drawn with seed {order['seed']}"]
    attempt = 0
    for slot in order["slots"]:
        if slot["attempt"] != attempt:
            attempt = slot["attempt"]
            lines += ["", f"attempt {attempt}"]
        lines.append(f"  [ ] {slot['position']:3}. {slot['words']}")
    return "\n".join(lines) + "\n"


def to_csv(order: dict[str, Any]) -> str:
    """Return an order as a table."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["position", "attempt", "block", "whose", "team_id"])
    for slot in order["slots"]:
        words = slot["words"]
        safe = f"'{words}" if words.startswith(("=", "+", "-", "@")) else words
        writer.writerow([slot["position"], slot["attempt"], slot["block"], safe, slot["team_id"]])
    return out.getvalue()


def main(arguments: list[str] | None = None) -> int:
    """Draw or show what the command line asks for; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--season", help="its name or id (default: the running one)")
    parser.add_argument("--event", help="name of the event (default: the newest)")
    parser.add_argument("--draw", action="store_true", help="draw a new order")
    parser.add_argument("--seed", type=int, help="what to draw with (default: drawn and kept)")
    parser.add_argument("--attempts", type=int, help="runs of each team (default: the event's)")
    parser.add_argument("--format", choices=["text", "csv"], default="text")
    parser.add_argument("--url", default=os.environ.get("GUSTBOOK_URL", "http://127.0.0.1:8000"))
    options = parser.parse_args(arguments)
    if options.seed is not None and not options.draw:
        parser.error("--seed goes with --draw")
    try:
        with open_client(options.url, read_key()) as client:
            event, order = fetch(client, options)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code
    print(to_csv(order) if options.format == "csv" else to_text(event, order), end="")
    return OK


if __name__ == "__main__":
    raise SystemExit(main())
