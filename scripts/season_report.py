#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Pull a report from Gustbook: as lines to read, or as json, csv, html or pdf.

--kind says which: season (the default), organisation, team (a page that a team can be handed),
event (readiness, order of runs, outlook, results) or equipment. Without --season the running season
is taken, else the one with the newest trial; standard error says which. --organisation and --team
narrow a season's report by name. --all FOLDER writes every report there is: the season's, each
school's, each team's page, event sheets, the equipment list.

The access key is read from the variable GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE
(default ~/.config/gustbook/key), which only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import argparse
import re
import sys
from pathlib import Path
from typing import Any

from client import (
    OK,
    USAGE,
    Stop,
    add_url,
    ask,
    find,
    find_season,
    list_all,
    open_client,
    read_key,
    require_ok,
)

EXAMPLES = """\
examples:
  season_report.py                                     the running season, to read
  season_report.py --format html --out season.html     a page to print
  season_report.py --format csv --organisation Tarnwick --out tarnwick.csv
  season_report.py --kind team --team Larch --format pdf --out larch.pdf
  season_report.py --kind event                        who is ready, order, outlook, results
  season_report.py --all reports --format html         everything, one file each

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""


def fetch(client: Any, options: argparse.Namespace) -> bytes:
    """Return the report in the format of the options."""
    is_text = options.format == "text"
    path, parameters = _address(client, options)
    parameters["format"] = "json" if is_text else options.format
    if options.excel:
        parameters["excel"] = "true"
    answer = require_ok(ask(client, "GET", path, params=parameters))
    return TEXTS[options.kind](answer.json()).encode() if is_text else bytes(answer.content)


def _address(client: Any, options: argparse.Namespace) -> tuple[str, dict[str, str]]:
    """Return the path of a report, and its query parameters."""
    filters: dict[str, str] = {}
    if options.organisation:
        filters["organisation_id"] = find(client, "organisations", options.organisation)["id"]
    if options.kind == "equipment":
        return "/v1/equipment-list", filters
    season = find_season(client, options.season)
    if options.kind == "event":
        event = find(client, "events", options.event, season_id=season["id"])
        return f"/v1/events/{event['id']}/sheet", {}
    if options.kind == "organisation":
        if not filters:
            raise Stop(USAGE, "name the school with --organisation")
        path = f"/v1/organisations/{filters['organisation_id']}/report"
        return path, {"season_id": season["id"]}
    if options.team:
        team = find(client, "teams", options.team, season_id=season["id"], **filters)
        filters["team_id"] = team["id"]
    if options.kind == "team":
        if not options.team:
            raise Stop(USAGE, "name the team with --team")
        return f"/v1/teams/{filters['team_id']}/report", {}
    return f"/v1/seasons/{season['id']}/report", filters


def fetch_all(client: Any, options: argparse.Namespace) -> list[Path]:
    """Write every report of a season into a folder; return the files."""
    form = "html" if options.format == "text" else options.format
    season = find_season(client, options.season)
    works = [("season", f"/v1/seasons/{season['id']}/report"), ("equipment", "/v1/equipment-list")]
    report = require_ok(ask(client, "GET", works[0][1], params={"format": "json"})).json()
    for school in report["organisations"]:
        path = f"/v1/organisations/{school['organisation_id']}/report?season_id={season['id']}"
        works.append((f"school-{school['name']}", path))
        works += [
            (f"team-{team['name']}-{school['name']}", f"/v1/teams/{team['team_id']}/report")
            for team in school["teams"]
        ]
    events = list_all(client, "events", season_id=season["id"])
    works += [(f"event-{event['name']}", f"/v1/events/{event['id']}/sheet") for event in events]
    options.all.mkdir(parents=True, exist_ok=True)
    written = []
    for done, (name, path) in enumerate(works, start=1):
        mark = "&" if "?" in path else "?"
        answer = require_ok(ask(client, "GET", f"{path}{mark}format={form}"))
        file = options.all / f"{_file_name(name)}.{form}"
        if file in written:  # two names with the same file name
            file = file.with_stem(f"{file.stem}-{done}")
        file.write_bytes(answer.content)
        written.append(file)
        _show_progress("reports", done, len(works))
    return written


def _file_name(name: str) -> str:
    """Return a file name that is valid on any system."""
    letters = (letter if letter.isalnum() else "-" for letter in name.casefold())
    return re.sub("-+", "-", "".join(letters)).strip("-")


def _show_progress(what: str, done: int, of: int) -> None:
    """Draw a progress bar if standard error is a terminal."""
    if not sys.stderr.isatty():
        return
    filled, end = 24 * done // of, "\n" if done == of else "\r"
    bar = f"[{'#' * filled}{'.' * (24 - filled)}]"
    print(f"{what:14} {bar} {done}/{of}", end=end, file=sys.stderr)


def team_text(sheet: dict[str, Any]) -> str:
    """Return a team's page as lines to read."""
    progress, team = sheet["progress"], sheet["team"]
    lines = [f"{progress['name']}, {team['trials']} of {team['trials_stored']} trials count"]
    current = progress["builds"][-1] if progress["builds"] else None
    power = current and f"{_mw(current).strip()}, build {current['number']}"
    lines.append(f"  our number    {power or 'not known: ' + progress['reason']}")
    lines.append(f"  try next      {progress['next_test']['sentence']}")
    lines.append(f"  trend         {progress['trend']['sentence']}")
    for kind in ("changes", "pitch", "load", "wind"):
        lines += [f"  {kind:12}  {finding['sentence']}" for finding in progress[kind]]
    return "\n".join(lines) + "\n"


def event_text(sheet: dict[str, Any]) -> str:
    """Return an event's sheet as lines to read."""
    ready, order, results = sheet["readiness"], sheet["run_order"], sheet["results"]
    left = f"{ready['days_left']} days left" if ready["days_left"] >= 0 else "over"
    lines = [f"{ready['event_name']} on {ready['held_on']}, {left}", "", "Who is ready"]
    lines += [f"  {team['team_name']:16} {team['status']:10} {team['next_action']}"
              for team in ready["teams"]] or [f"  not known: {ready['reason']}"]  # fmt: skip
    lines += ["", f"Order of runs, seed {order['seed']}" if order else "No order was drawn yet."]
    for slot in order["slots"] if order else []:
        lines.append(f"  {slot['position']:3}. {slot['words']}")
    lines += ["", "Forecast"]
    lines += [f"  {team['sentence']}" for team in sheet["outlook"]["teams"]]
    if results["runs"]:
        lines += ["", "Results", *(f"  {drift['sentence']}" for drift in results["drifts"])]
        lines.append(f"  {sheet['review']['sentence']}")
        places = [_event_place(place) for place in results["places"] or []]
        lines += places or [f"  {results['sentence']}"]
    return "\n".join(lines) + "\n"


def _event_place(place: dict[str, Any]) -> str:
    best = "" if place["best_w"] is None else f"{1000 * place['best_w']:6.1f} mW"
    return f"  {place['place']:3}. {place['team_name']:36} {best}".rstrip()


def equipment_text(listed: dict[str, Any]) -> str:
    """Return the equipment list as lines to read."""
    lines = [f"{len(listed['items'])} items, {listed['lent']} lent, {listed['overdue']} overdue"]
    for item in listed["items"]:
        late = f", {_count(item['days_overdue'], 'day')} late" if item["days_overdue"] else ""
        due = f", due {item['due_on']}{late}" if item["due_on"] else ""
        what = f"  {item['tag']:32} {item['kind']:16}"
        lines.append(f"{what} {item['where']}{due}; {item['condition']}")
    return "\n".join(lines) + "\n"


def to_text(report: dict[str, Any]) -> str:
    """Return a report as lines to read."""
    lines = [
        f"{report['name']}, as of {report['as_of'][:16].replace('T', ' ')} UTC: "
        f"{report['trials']} of {report['trials_stored']} trials count, "
        f"{_count(report['sessions'], 'session')}",
        f"Powers at {report['reference_wind_speed_m_s']} m/s and "
        f"{report['reference_air_density_kg_m3']} kg/m3; we are about 95 % sure that the true "
        "value is within the brackets.",
    ]
    for organisation in report["organisations"]:
        lines += ["", organisation["name"]]
        lines += [_team_line(team) for team in organisation["teams"]]
    if not report["organisations"]:
        lines += ["", "No team is registered in this season yet; --season names another."]
    for bench in report["benches"]:
        lines += ["", f"Order at {bench['name']}"]
        lines += [_place_line(place) for place in bench["order"]]
    lines += ["", report["comparison"]["sentence"]]
    places = report["comparison"]["places"]
    groups = list(dict.fromkeys(place["group"] for place in places))
    lines += [_fair_line(place, groups.index(place["group"]) + 1) for place in places]
    lines += [f"Not counted: {each['trials']} {each['sentence']}." for each in report["left_out"]]
    return "\n".join(lines) + "\n"


def _team_line(team: dict[str, Any]) -> str:
    current = team["current"]
    if current is None:
        return f"  {team['name']:24} not known: {team['reason']}"
    change = team["change"]
    since = f", {_change(change)} since build {change['from_build_number']}" if change else ""
    untested = _untested(team)
    dated = f" ({current['latest_at'][:10]})" if untested and current["latest_at"] else ""
    return (
        f"  {team['name']:24} {_mw(current):22} build {current['build_number']}{dated}, "
        f"{_count(current['trials'], 'trial')}, {_count(current['sessions'], 'session')}; "
        f"best seen {_mw(team['best_seen']).strip()} of {team['best_seen']['of_trials']}{since}"
        f"{untested}"
    )


def _untested(place: dict[str, Any]) -> str:
    """Return a note if a newer build has no counted trial yet; else an empty text."""
    number = place["untested_build_number"]
    return f"; build {number} has no counted trial yet" if number else ""


def _fair_line(place: dict[str, Any], group: int) -> str:
    """Return a team's line in the fair table, with its comparison with the next team."""
    power = "no reference run yet"
    if place["fair_power_w"] is not None:
        low, high = (limit * 1000 for limit in place["interval_w"])
        power = f"{place['fair_power_w'] * 1000:5.1f} mW ({low:.0f} to {high:.0f})"
    sentence = place["ahead_of_next"]["sentence"] if place["ahead_of_next"] else ""
    rank = f"group {group}, {place['place']}."
    of = f"build {place['build_number']}{_untested(place)}."
    return f"  {rank:14} {place['name']:20} {power:24} {of} {sentence}".rstrip()


def _place_line(place: dict[str, Any]) -> str:
    low, high = place["interval_within_bench_w"]
    close = ", too close to call with the next" if place["too_close_to_next"] else ""
    power = f"{place['normalised_power_w'] * 1000:.1f} mW ({low * 1000:.0f} to {high * 1000:.0f})"
    of = f", build {place['build_number']}{_untested(place)}"
    return f"  {place['place']}. {place['name']:20} {power}{of}{close}"


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _change(change: dict[str, Any]) -> str:
    """Return a change in percent, or as a multiple if it is more than threefold."""
    ratio = 1 + change["change_pct"] / 100
    decimals = 1 if ratio < 10 else 0
    return f"{ratio:.{decimals}f} times" if ratio > 3 else f"{round(change['change_pct']):+d} %"


def _mw(figure: dict[str, Any]) -> str:
    low, high = figure["interval_w"]
    return f"{figure['normalised_power_w'] * 1000:5.1f} mW ({low * 1000:.0f} to {high * 1000:.0f})"


TEXTS = {"season": to_text, "organisation": to_text, "team": team_text, "event": event_text,
         "equipment": equipment_text}  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    """Write the report that the options select; return the exit code."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, epilog=EXAMPLES, formatter_class=layout)
    parser.add_argument("--kind", choices=list(TEXTS), default="season", help="which report")
    parser.add_argument("--season", help="its name or id (default: the running one)")
    parser.add_argument("--event", help="name of the event (default: the newest)")
    parser.add_argument("--organisation", help="only this school or club, by name")
    parser.add_argument("--team", help="only this team, by name")
    parser.add_argument("--format", choices=["text", "json", "csv", "html", "pdf"], default="text")
    parser.add_argument("--excel", action="store_true", help="mark the csv for spreadsheets")
    parser.add_argument("--out", type=Path, help="file to write (default: standard output)")
    parser.add_argument("--all", type=Path, metavar="FOLDER", help="write every report into it")
    add_url(parser)
    options = parser.parse_args(arguments)
    try:
        with open_client(options.url, read_key()) as client:
            if options.all:
                print(f"{len(fetch_all(client, options))} reports written into {options.all}")
                return OK
            write(fetch(client, options), options.out)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code
    except OSError as error:
        print(f"{error.filename}: {error.strerror}", file=sys.stderr)
        return USAGE
    return OK


def write(content: bytes, out: Path | None) -> None:
    """Write to a file or to standard output."""
    if out is None:
        sys.stdout.buffer.write(content)
        return
    out.write_bytes(content)
    print(f"written: {out}", file=sys.stderr)


if __name__ == "__main__":
    raise SystemExit(main())
