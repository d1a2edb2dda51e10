#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Register a season's schools, teams, equipment, turbines, builds, benches, loans from a FOLDER.

The folder holds one table for each kind of thing, as CSV, those of them that there is something
for: season.csv, organisations.csv, equipment.csv, teams.csv, turbines.csv, builds.csv,
benches.csv, wind_grids.csv, events.csv, loans.csv; and rule_set.json, the rules of the events.
Columns are the service's fields; instead of an id stands the name of the thing (organisation, team,
turbine, generator, fan, anemometer, rotor; equipment by its tag).
A row without a team in turbines.csv is a reference rotor. What is registered already, by its name,
is left as it is, so the script can be run again after a row was added.

The access key (a lead's, or a coach's for teams and what comes after) is read from the variable
GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE (default ~/.config/gustbook/key), which
only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import argparse
import secrets
import sys
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from client import (
    KEY,
    OK,
    REFUSED,
    USAGE,
    Stop,
    add_url,
    ask,
    error_message,
    find_season,
    list_all,
    open_client,
    read_key,
    require_ok,
)
from season_tables import (
    GRID_COLUMNS,
    LOAN_COLUMNS,
    TABLES,
    Fault,
    Row,
    read_rules,
    read_table,
    value_of,
)

EXAMPLES = """\
example:
  register_season.py demo_seed

exit codes: 0 done, 1 refused, 2 wrong use, 3 key not accepted, 4 service not reached or not able
"""

#: Columns that name another thing: its collection, and the field for its id.
NAMED = {
    "rotor": ("equipment", "rotor_id"),
    "organisation": ("organisations", "organisation_id"),
    "team": ("teams", "team_id"),
    "turbine": ("turbines", "turbine_id"),
    "generator": ("equipment", "generator_id"),
    "fan": ("equipment", "fan_id"),
    "anemometer": ("equipment", "anemometer_id"),
}
#: Fields that a row needs to find its owner, and that the thing itself does not have.
OWNERS_ONLY = {"turbines": ("organisation_id",), "builds": ("organisation_id", "team_id")}


class Registry:
    """Things that are registered, by collection and name."""

    def __init__(self, client: Any) -> None:
        self.client = client
        self.things: dict[str, dict[tuple[str, ...], dict[str, Any]]] = {}
        self.season_id = ""
        self.season_named: str | None = None
        self.rule_set: dict[str, Any] | None = None

    def load(self, collection: str) -> None:
        """Load the things that a collection has already."""
        self.things[collection] = {}
        filters = {"limit": "200"}
        if collection == "teams" and self.season_id:
            filters["season_id"] = self.season_id
        for item in list_all(self.client, collection, **filters):
            self.remember(collection, item)

    def remember(self, collection: str, item: dict[str, Any]) -> None:
        """Remember a thing under its name."""
        self.things[collection][_name_of(collection, item)] = item

    def find(self, collection: str, name: str, owner: str | None = None) -> dict[str, Any]:
        """Return a thing by its name, and by its owner's id where names repeat."""
        by_name = {
            key[-1]: item
            for key, item in self.things[collection].items()
            if owner is None or key[0] == owner
        }
        same = [item for key, item in by_name.items() if _plain(key) == _plain(name)]
        if not same:
            near = get_close_matches(name, list(by_name), n=1, cutoff=0.5)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise Fault(f"'{name}' is not among {collection}{hint}")
        return by_name.get(name, same[0])

    def add(self, path: str, facts: dict[str, Any]) -> dict[str, Any]:
        """Register a thing, or raise `Fault` with the service's reason."""
        once = {
            "Idempotency-Key": secrets.token_hex(16)
        }  # a request whose answer is lost is sent again
        answer = ask(self.client, "POST", path, json=facts, headers=once)
        if answer.status_code == 403:
            raise Stop(KEY, f"{error_message(answer)}. {COACH_HINT}")
        if answer.status_code >= 500 or answer.status_code == 401:
            require_ok(answer)
        if answer.status_code >= 400:
            problem = answer.json()
            errors = [_error_in_words(error) for error in problem.get("errors", [])]
            raise Fault("; ".join(errors) or str(problem.get("detail")))
        item: dict[str, Any] = answer.json()
        return item


COACH_HINT = (
    "With a coach's key, keep only your own school's rows, and leave out season.csv and "
    "organisations.csv: a lead registers those."
)


def _error_in_words(error: dict[str, Any]) -> str:
    field = error.get("pointer", "").strip("/")
    hint = f" {error['hint']}" if error.get("hint") else ""
    end = "" if error["detail"].endswith((".", "?")) else "."
    return f"{field} {error['detail']}{end}{hint}"


def _plain(name: str) -> str:
    return " ".join(str(name).casefold().split())


def _name_of(collection: str, item: dict[str, Any]) -> tuple[str, ...]:
    """Return the name that is unique to a thing in its collection."""
    owner = {
        "teams": "organisation_id",
        "benches": "organisation_id",
        "turbines": "team_id",
        "builds": "turbine_id",
    }.get(collection)
    own = str(item.get("tag") or item.get("number") or item.get("name"))
    return (str(item.get(owner)), own) if owner else (own,)


def register(client: Any, folder: Path, season: str | None = None) -> dict[str, int]:
    """Register the rows of a folder's tables; return the number of new ones of each kind.

    `season` names the season of a folder without `season.csv`; by default it is the current one.
    """
    tables = [name for name in (*TABLES, "wind_grids") if (folder / f"{name}.csv").is_file()]
    if not tables:
        raise Stop(USAGE, f"{folder} holds none of {', '.join(TABLES)}.csv")
    registry = Registry(client)
    registry.season_named = season
    new: dict[str, int] = {}
    for table, (collection, columns) in TABLES.items():
        registry.load(collection)
        if table == "events":
            registry.rule_set = read_rules(folder / "rule_set.json")
        rows = read_table(folder / f"{table}.csv", columns)
        new[collection] = _register_table(registry, f"{table}.csv", collection, rows)
    rows = read_table(folder / "wind_grids.csv", GRID_COLUMNS)
    new["wind grids"] = _register_grids(registry, rows)
    new["loans"] = _register_loans(registry, read_table(folder / "loans.csv", LOAN_COLUMNS))
    return new


def _register_table(
    registry: Registry, title: str, collection: str, rows: list[tuple[int, Row]]
) -> int:
    """Register the new rows of a table; stop after it if some of them have faults."""
    count, faults = 0, []
    for number, row in rows:
        try:
            count += _register_row(registry, title, number, collection, row)
        except Fault as fault:
            faults.append(f"{title} row {number}: {fault}")
        _show_progress(collection, number - 1, len(rows))
    if faults:
        others = f"\n{count} other rows of this table are registered; correct these and run again"
        raise Stop(REFUSED, "\n".join(faults) + others)
    return count


def _register_row(registry: Registry, title: str, number: int, collection: str, row: Row) -> int:
    """Register one row if it is new; return 1 if it is, else 0."""
    facts = _facts(registry, collection, row)
    name = _name_of(collection, {"team_id": None} | facts)
    stored = registry.things[collection].get(name)
    if stored is None:
        stored = registry.add(f"/v1/{collection}", facts)
        registry.remember(collection, stored)
        is_new = 1
    else:
        _mention_difference(f"{title} row {number}", facts, stored)
        is_new = 0
    if collection == "seasons":
        registry.season_id = stored["id"]
    return is_new


def _mention_difference(where: str, facts: dict[str, Any], stored: dict[str, Any]) -> None:
    """Print the differences of a row from the registered thing, which is not changed."""
    differing = [name for name, value in facts.items() if name in stored and stored[name] != value]
    if differing:
        print(f"{where}: {', '.join(differing)} differ from what is registered, left as it is")


def _facts(registry: Registry, collection: str, row: Row) -> dict[str, Any]:
    """Return a row as the body of a request, with ids instead of names."""
    facts: dict[str, Any] = {"spec": {}} if collection == "equipment" else {}
    for column, cell in row.items():
        if not cell:
            continue
        if column in NAMED:
            facts[NAMED[column][1]] = _id_of(registry, column, row)
        elif collection == "equipment" and column not in TABLES["equipment"][1]:
            facts["spec"][column] = value_of(column, cell)
        else:
            facts[column] = value_of(column, cell)
    if collection in ("teams", "events"):
        facts["season_id"] = _season_id(registry)
    if collection == "events" and registry.rule_set is not None:
        facts["rule_set"] = registry.rule_set
    if collection == "turbines":
        facts.setdefault("team_id", None)
    for owner in OWNERS_ONLY.get(collection, ()):
        facts.pop(owner, None)
    return facts


def _season_id(registry: Registry) -> str:
    """Return the id of the folder's season, of the named season or of the current one."""
    if not registry.season_id:
        if not registry.things["seasons"]:
            raise Fault("there is no season yet: add season.csv")
        registry.season_id = find_season(registry.client, registry.season_named)["id"]
    return registry.season_id


def _id_of(registry: Registry, column: str, row: Row) -> str:
    """Return the id of the thing that a cell names, among its owner's things."""
    owner = None
    if column == "team":
        owner = _id_of(registry, "organisation", _with(row, "organisation", "team"))
    elif column == "turbine":
        owner = _id_of(registry, "team", row) if row.get("team") else "None"
    return str(registry.find(NAMED[column][0], row[column], owner)["id"])


def _with(row: Row, column: str, needs: str) -> Row:
    if not row.get(column):
        raise Fault(f"names a {needs}, which needs the {column} too")
    return row


def _register_loans(registry: Registry, rows: list[tuple[int, Row]]) -> int:
    """Lend the equipment that is not lent already."""
    count, faults = 0, []
    for number, row in rows:
        try:
            item = registry.find("equipment", row.get("equipment", ""))
            holder = registry.find("organisations", row.get("organisation", ""))
            cells = row.items() - {("equipment", row["equipment"])}
            facts = {k: value_of(k, v) for k, v in cells if v and k != "organisation"}
            path = f"/v1/equipment/{item['id']}"
            if not require_ok(ask(registry.client, "GET", path)).json()["is_lent"]:
                registry.add(f"{path}/loans", facts | {"organisation_id": holder["id"]})
                count += 1
        except Fault as fault:
            faults.append(f"loans.csv row {number}: {fault}")
    if faults:
        raise Stop(REFUSED, "\n".join(faults))
    return count


def _register_grids(registry: Registry, rows: list[tuple[int, Row]]) -> int:
    """Store a wind grid for each bench without one; the rows of a bench are one grid."""
    grids: dict[str, list[Row]] = {}
    faults = []
    for number, row in rows:
        try:
            owner = registry.find("organisations", row.get("organisation", ""))["id"]
            bench = registry.find("benches", row.get("bench", ""), owner)["id"]
            grids.setdefault(bench, []).append({k: value_of(k, v) for k, v in row.items() if v})
        except Fault as fault:
            faults.append(f"wind_grids.csv row {number}: {fault}")
    if faults:
        raise Stop(REFUSED, "\n".join(faults))
    return sum(_register_grid(registry, bench, points) for bench, points in grids.items())


def _register_grid(registry: Registry, bench_id: str, rows: list[Any]) -> int:
    path = f"/v1/benches/{bench_id}/wind-grids"
    if require_ok(ask(registry.client, "GET", path)).json()["items"]:
        return 0
    owners = ("organisation", "bench")
    points = [
        {k: v for k, v in row.items() if k not in owners and "monitor" not in k} for row in rows
    ]
    monitor = {k: v for k, v in rows[0].items() if "monitor" in k}
    try:
        registry.add(path, {"points": points} | monitor)
    except Fault as fault:
        raise Stop(REFUSED, f"wind_grids.csv, bench {rows[0]['bench']}: {fault}") from fault
    return 1


def _show_progress(what: str, done: int, of: int) -> None:
    """Draw a progress bar if standard error is a terminal."""
    if not sys.stderr.isatty():
        return
    filled = 24 * done // of
    end = "\n" if done == of else "\r"
    bar = f"[{'#' * filled}{'.' * (24 - filled)}]"
    print(f"{what:14} {bar} {done}/{of}", end=end, file=sys.stderr)


def words_of_new(new: dict[str, int]) -> str:
    """Return the numbers of new things of each kind as text."""
    return ", ".join(f"{name} {count}" for name, count in new.items() if count)


def main(arguments: list[str] | None = None) -> int:
    """Register the folder named on the command line; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument(
        "--season",
        help="its name or id, for a folder without season.csv (default: the running one)",
    )
    add_url(parser)
    options = parser.parse_args(arguments)
    try:
        with open_client(options.url, read_key()) as client:
            new = register(client, options.folder, options.season)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code
    print("registered: " + (words_of_new(new) or "nothing new"))
    return OK


if __name__ == "__main__":
    raise SystemExit(main())
