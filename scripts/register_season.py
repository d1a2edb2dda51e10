#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Register a season's schools, teams, equipment, turbines, builds and benches from a FOLDER.

The folder holds one table for each kind of thing, as CSV with commas, those of them that there is
something for: season.csv, organisations.csv, equipment.csv, teams.csv, turbines.csv, builds.csv,
benches.csv, wind_grids.csv. Columns are the service's fields; instead of an id stands the name of
the thing (organisation, team, turbine, generator, fan, anemometer; equipment by its tag).
A row without a team in turbines.csv is a reference rotor. What is registered already, by its name,
is left as it is, so the script can be run again after a row was added.

The access key (a lead's, or a coach's for teams and what comes after) is read from the variable
GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE (default ~/.config/gustbook/key), which
only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import argparse
import csv
import os
import stat
import sys
import time
from pathlib import Path
from typing import Any

import httpx

EXAMPLES = """\
example:
  register_season.py demo_seed

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""
OK, REFUSED, USAGE, KEY, SERVER = range(5)
TRIES = 5

# --- the same lines in each script for coaches: how to reach the service ---------------------


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
            lost = f"{client.base_url} cannot be reached: {error}"
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
    detail = problem.get("detail", "no reason given")
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


# --- end of the same lines -------------------------------------------------------------------

#: Tables in the order they build on each other, and the collection each goes to.
TABLES = (
    ("season", "seasons"),
    ("organisations", "organisations"),
    ("equipment", "equipment"),
    ("teams", "teams"),
    ("turbines", "turbines"),
    ("builds", "builds"),
    ("benches", "benches"),
)
#: Columns that name another thing: the collection it is in, and the field its id goes to.
NAMED = {
    "organisation": ("organisations", "organisation_id"),
    "team": ("teams", "team_id"),
    "turbine": ("turbines", "turbine_id"),
    "generator": ("equipment", "generator_id"),
    "fan": ("equipment", "fan_id"),
    "anemometer": ("equipment", "anemometer_id"),
}
WHOLE_NUMBERS = ("size", "blade_count", "number")
TEXTS = ("name", "tag", "kind", "fan_setting", "changed_factor", "material", "note", "room",
         "starts_on", "ends_on", "timezone", "sharing", "entry_class", "age_band")  # fmt: skip
#: Columns of equipment.csv that are its own; all others are its data sheet.
EQUIPMENT_OWN = ("organisation", "kind", "tag", "note")

#: Names that a row needs to find its owner, and that the thing itself does not have.
OWNERS_ONLY = {"turbines": ("organisation_id",), "builds": ("organisation_id", "team_id")}

Row = dict[str, str]


class Registry:
    """What is registered, by collection and name."""

    def __init__(self, client: Any) -> None:
        self.client = client
        self.ids: dict[str, dict[tuple[str, ...], str]] = {}
        self.season_id = ""

    def load(self, collection: str) -> None:
        """Learn what a collection holds already."""
        self.ids[collection] = {}
        path: str | None = f"/v1/{collection}?limit=200"
        while path:
            answer = require_ok(ask(self.client, "GET", path))
            for item in answer.json()["items"]:
                self.ids[collection][_name_of(collection, item)] = item["id"]
            path = answer.links.get("next", {}).get("url")

    def find(self, collection: str, *names: str) -> str:
        """Return the id of a thing by its name, and its owner's where names repeat."""
        wanted = [each.casefold() for each in names]
        for known, known_id in self.ids[collection].items():
            if [each.casefold() for each in known[-len(wanted) :]] == wanted:
                return known_id
        raise Stop(REFUSED, f"no {' / '.join(names)} among {collection}")

    def add(self, collection: str, path: str, facts: dict[str, Any], where: str) -> None:
        """Register a thing, or stop at the service's words with the row's place."""
        answer = ask(self.client, "POST", path, json=facts)
        if answer.status_code >= 400:
            hints = [
                f"{e.get('pointer', '')} {e['detail']}" for e in answer.json().get("errors", [])
            ]
            raise Stop(REFUSED, f"{where}: {words_of(answer)}\n  " + "\n  ".join(hints))
        if collection:
            item = answer.json()
            self.ids[collection][_name_of(collection, item)] = item["id"]


def _name_of(collection: str, item: dict[str, Any]) -> tuple[str, ...]:
    """Return what tells a thing from others of its collection."""
    owner = {
        "teams": "organisation_id",
        "benches": "organisation_id",
        "turbines": "team_id",
        "builds": "turbine_id",
    }.get(collection)
    own = str(item.get("tag") or item.get("number") or item.get("name"))
    return (str(item[owner]), own) if owner else (own,)


def register(client: Any, folder: Path) -> dict[str, int]:
    """Register what a folder's tables hold; return how many of each kind are new."""
    if not folder.is_dir():
        raise Stop(USAGE, f"{folder} is not a folder")
    registry = Registry(client)
    new: dict[str, int] = {}
    for table, collection in TABLES:
        registry.load(collection)
        new[collection] = _register_table(registry, folder / f"{table}.csv", collection)
    new["wind grids"] = _register_grids(registry, folder / "wind_grids.csv", new["benches"])
    return new


def _register_table(registry: Registry, path: Path, collection: str) -> int:
    rows = _rows(path)
    count = 0
    for number, row in rows:
        where = f"{path.name} row {number}"
        facts = _facts(registry, collection, row, where)
        name = _name_of(collection, {"team_id": None} | facts)
        if name not in registry.ids[collection]:
            registry.add(collection, f"/v1/{collection}", facts, where)
            count += 1
        if collection == "seasons":
            registry.season_id = registry.ids[collection][name]
        _show_progress(collection, number - 1, len(rows))
    return count


def _rows(path: Path) -> list[tuple[int, Row]]:
    """Return a table's rows, numbered as a spreadsheet shows them; none where there is no file."""
    if not path.is_file():
        return []
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    return [(number, row) for number, row in enumerate(rows, start=2) if any(row.values())]


def _facts(registry: Registry, collection: str, row: Row, where: str) -> dict[str, Any]:
    """Return a row as the service takes it: ids for names, numbers for numbers."""
    facts: dict[str, Any] = {"spec": {}} if collection == "equipment" else {}
    for column, cell in row.items():
        if not cell:
            continue
        if column in NAMED:
            target, field = NAMED[column]
            facts[field] = _id_of(registry, target, column, row)
        elif collection == "equipment" and column not in EQUIPMENT_OWN:
            facts["spec"][column] = _value(column, cell, where)
        else:
            facts[column] = _value(column, cell, where)
    if collection == "teams":
        facts["season_id"] = _season_id(registry)
    if collection == "turbines":
        facts.setdefault("team_id", None)
    for owner in OWNERS_ONLY.get(collection, ()):
        facts.pop(owner, None)
    return facts


def _season_id(registry: Registry) -> str:
    """Return the season of the folder, or the newest there is."""
    seasons = list(registry.ids["seasons"].values())
    if not seasons:
        raise Stop(REFUSED, "there is no season yet: add season.csv")
    return registry.season_id or seasons[-1]


def _id_of(registry: Registry, target: str, column: str, row: Row) -> str:
    """Return the id of what a cell names, among its owner's things."""
    if target == "teams":
        return registry.find(
            "teams", _id_of(registry, "organisations", "organisation", row), row[column]
        )
    if target == "turbines":
        team = _id_of(registry, "teams", "team", row) if row.get("team") else "None"
        return registry.find("turbines", team, row[column])
    return registry.find(target, row[column])


def _value(column: str, cell: str, where: str) -> Any:
    """Return a cell's value: text where the column holds text, else a number."""
    if column in (*TEXTS, "type", "class"):
        return cell
    try:
        return int(cell) if column in (*WHOLE_NUMBERS, "counts") else float(cell)
    except ValueError as error:
        raise Stop(REFUSED, f"{where}, column {column}: '{cell}' is not a number") from error


def _register_grids(registry: Registry, path: Path, new_benches: int) -> int:
    """Store the wind measured at each new bench: the rows of one bench are one grid."""
    grids: dict[tuple[str, str], list[Row]] = {}
    for _, row in _rows(path):
        grids.setdefault((row["organisation"], row["bench"]), []).append(row)
    if not new_benches:
        return 0
    for (organisation, bench), rows in grids.items():
        owner = registry.find("organisations", organisation)
        bench_id = registry.find("benches", owner, bench)
        points = [
            {name: float(row[name]) for name in ("x_radii", "y_radii", "wind_speed_m_s")}
            for row in rows
        ]
        facts: dict[str, Any] = {"points": points}
        if rows[0].get("monitor_wind_speed_m_s"):
            facts["monitor_wind_speed_m_s"] = float(rows[0]["monitor_wind_speed_m_s"])
        where = f"{path.name}, bench {bench}"
        registry.add("", f"/v1/benches/{bench_id}/wind-grids", facts, where)
    return len(grids)


def _show_progress(what: str, done: int, of: int) -> None:
    """Draw a bar on a terminal; say nothing where none watches."""
    if not sys.stderr.isatty():
        return
    filled = 24 * done // of
    end = "\n" if done == of else "\r"
    bar = f"[{'#' * filled}{'.' * (24 - filled)}]"
    print(f"{what:14} {bar} {done}/{of}", end=end, file=sys.stderr)


def words_of_new(new: dict[str, int]) -> str:
    """Return in words how many things of each kind are new."""
    return ", ".join(f"{name} {count}" for name, count in new.items() if count)


def main(arguments: list[str] | None = None) -> int:
    """Register the folder named on the command line; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument("--url", default=os.environ.get("GUSTBOOK_URL", "http://127.0.0.1:8000"))
    options = parser.parse_args(arguments)
    try:
        with open_client(options.url, read_key()) as client:
            new = register(client, options.folder)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code
    print("registered: " + (words_of_new(new) or "nothing new"))
    return OK


if __name__ == "__main__":
    raise SystemExit(main())
