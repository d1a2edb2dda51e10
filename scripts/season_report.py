#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Pull a report from Gustbook: as lines to read, or as json, csv, xlsx, html or pdf.

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
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn, get_args

from client import Gustbook, ReportFormat, ReportKind, WrongUse
from client.command_line import OK, USAGE, find_season, options_parser, run, show_progress

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


def fetch(gustbook: Gustbook, options: argparse.Namespace) -> bytes:
    """Return the report in the format of the options."""
    kind, thing_id, filters = _chosen_report(gustbook, options)
    if options.format == "text":
        return TEXTS[kind](gustbook.report(kind, thing_id, **filters)).encode()
    excel = options.excel or None
    return gustbook.report_file(kind, thing_id, options.format, excel=excel, **filters)


def _chosen_report(
    gustbook: Gustbook, options: argparse.Namespace
) -> tuple[ReportKind, str, dict[str, str]]:
    """Return the kind of a report, the id of what it is about, and its filters."""
    kind: ReportKind = options.kind
    filters: dict[str, str] = {}
    if options.organisation:
        school = gustbook.find("organisations", options.organisation)
        filters["organisation_id"] = school["id"]
    if kind == "equipment":
        return kind, "", filters
    season = find_season(gustbook, options.season)
    if kind == "event":
        event = gustbook.find("events", options.event, season_id=season["id"])
        return kind, event["id"], {}
    if kind == "organisation":
        school_id = filters.get("organisation_id") or _missing("the school", "--organisation")
        return kind, school_id, {"season_id": season["id"]}
    if options.team:
        team = gustbook.find("teams", options.team, season_id=season["id"], **filters)
        filters["team_id"] = team["id"]
    if kind == "team":
        return kind, filters.get("team_id") or _missing("the team", "--team"), {}
    return kind, season["id"], filters


def _missing(what: str, option: str) -> NoReturn:
    raise WrongUse(f"name {what} with {option}")


def fetch_all(gustbook: Gustbook, options: argparse.Namespace) -> list[Path]:
    """Write every report of a season into a folder; return the files."""
    form: ReportFormat = "html" if options.format == "text" else options.format
    season = find_season(gustbook, options.season)
    works = list(_reports(gustbook, season["id"]))
    options.all.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for done, (name, kind, thing_id, filters) in enumerate(works, start=1):
        file = options.all / f"{_file_name(name)}.{form}"
        if file in written:  # two names with the same file name
            file = file.with_stem(f"{file.stem}-{done}")
        file.write_bytes(gustbook.report_file(kind, thing_id, form, **filters))
        written.append(file)
        show_progress("reports", done, len(works))
    return written


def _reports(
    gustbook: Gustbook, season_id: str
) -> Iterator[tuple[str, ReportKind, str, dict[str, str]]]:
    """Yield the name, kind, id and filters of every report of a season."""
    yield "season", "season", season_id, {}
    yield "equipment", "equipment", "", {}
    for school in gustbook.report("season", season_id)["organisations"]:
        of_season = {"season_id": season_id}
        yield f"school-{school['name']}", "organisation", school["organisation_id"], of_season
        for team in school["teams"]:
            yield f"team-{team['name']}-{school['name']}", "team", team["team_id"], {}
    for event in gustbook.events(season_id=season_id):
        yield f"event-{event['name']}", "event", event["id"], {}


def _file_name(name: str) -> str:
    """Return a file name that is valid on any system."""
    letters = (letter if letter.isalnum() else "-" for letter in name.casefold())
    return re.sub("-+", "-", "".join(letters)).strip("-")


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


TEXTS: dict[ReportKind, Callable[[dict[str, Any]], str]] = {
    "season": to_text, "organisation": to_text, "team": team_text, "event": event_text,
    "equipment": equipment_text,
}  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    """Write the report that the options select; return the exit code."""
    parser = options_parser(__doc__, EXAMPLES)
    parser.add_argument("--kind", choices=list(TEXTS), default="season", help="which report")
    parser.add_argument("--season", help="its name or id (default: the running one)")
    parser.add_argument("--event", help="name of the event (default: the newest)")
    parser.add_argument("--organisation", help="only this school or club, by name")
    parser.add_argument("--team", help="only this team, by name")
    parser.add_argument("--format", choices=["text", *get_args(ReportFormat)], default="text")
    parser.add_argument("--excel", action="store_true", help="mark the csv for spreadsheets")
    parser.add_argument("--out", type=Path, help="file to write (default: standard output)")
    parser.add_argument("--all", type=Path, metavar="FOLDER", help="write every report into it")
    options = parser.parse_args(arguments)

    def work(gustbook: Gustbook) -> int:
        if options.all:
            written = fetch_all(gustbook, options)
            print(f"{len(written)} reports written into {options.all}")
        else:
            write(fetch(gustbook, options), options.out)
        return OK

    try:
        return run(options.url, work)
    except OSError as error:
        print(f"{error.filename}: {error.strerror}", file=sys.stderr)
        return USAGE


def write(content: bytes, out: Path | None) -> None:
    """Write to a file or to standard output."""
    if out is None:
        sys.stdout.buffer.write(content)
        return
    out.write_bytes(content)
    print(f"written: {out}", file=sys.stderr)


if __name__ == "__main__":
    raise SystemExit(main())
