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
from typing import Any

from client import Gustbook
from client.command_line import OK, find_season, options_parser, run, safe_cell

EXAMPLES = """\
examples:
  run_order.py                          the order that was drawn last
  run_order.py --draw --seed 20260502   draw it, to be announced
  run_order.py --format csv > order.csv

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""


def fetch(gustbook: Gustbook, options: argparse.Namespace) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return an event and its order; draw a new order if the options say so."""
    season = find_season(gustbook, options.season)
    event = gustbook.find("events", options.event, season_id=season["id"])
    path = f"/v1/events/{event['id']}/run-order"
    if not options.draw:
        return event, gustbook.get(path)
    settings = {"seed": options.seed, "attempts": options.attempts}
    body = {name: value for name, value in settings.items() if value is not None}
    return event, gustbook.post(path, body)


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
        words = safe_cell(slot["words"])
        writer.writerow([slot["position"], slot["attempt"], slot["block"], words, slot["team_id"]])
    return out.getvalue()


def main(arguments: list[str] | None = None) -> int:
    """Draw or show the order of an event; return the exit code."""
    parser = options_parser(__doc__, EXAMPLES)
    parser.add_argument("--season", help="its name or id (default: the running one)")
    parser.add_argument("--event", help="name of the event (default: the newest)")
    parser.add_argument("--draw", action="store_true", help="draw a new order")
    parser.add_argument("--seed", type=int, help="what to draw with (default: drawn and kept)")
    parser.add_argument("--attempts", type=int, help="runs of each team (default: the event's)")
    parser.add_argument("--format", choices=["text", "csv"], default="text")
    options = parser.parse_args(arguments)
    if options.seed is not None and not options.draw:
        parser.error("--seed goes with --draw")

    def work(gustbook: Gustbook) -> int:
        event, order = fetch(gustbook, options)
        print(to_csv(order) if options.format == "csv" else to_text(event, order), end="")
        return OK

    return run(options.url, work)


if __name__ == "__main__":
    raise SystemExit(main())
