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

from difflib import get_close_matches
from pathlib import Path
from typing import Any

from client import Gustbook, KeyNotAccepted, Refused, WrongUse
from client.command_line import OK, find_season, options_parser, run, show_progress
from client.lists import same_name
from season_tables import (
    GRID_COLUMNS,
    LOAN_COLUMNS,
    TABLES,
    Row,
    WrongRow,
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

    def __init__(self, gustbook: Gustbook) -> None:
        self.gustbook = gustbook
        self.things: dict[str, dict[tuple[str, ...], dict[str, Any]]] = {}
        self.season_id = ""
        self.season_named: str | None = None
        self.rule_set: dict[str, Any] | None = None

    def load(self, collection: str) -> None:
        """Load the things that a collection has already."""
        self.things[collection] = {}
        season_id = (collection == "teams" and self.season_id) or None
        for item in self.gustbook.each(f"/v1/{collection}", season_id=season_id):
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
        same = [item for key, item in by_name.items() if same_name(key, name)]
        if not same:
            near = get_close_matches(name, list(by_name), n=1, cutoff=0.5)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise WrongRow(f"'{name}' is not among {collection}{hint}")
        return by_name.get(name, same[0])

    def add(self, path: str, facts: dict[str, Any]) -> dict[str, Any]:
        """Register a thing, or raise `WrongRow` with the service's reason."""
        try:
            item: dict[str, Any] = self.gustbook.post(path, facts)
        except KeyNotAccepted as error:
            if error.status != 403:
                raise
            raise KeyNotAccepted(f"{error}. {COACH_HINT}") from error
        except Refused as error:
            raise WrongRow("; ".join(map(str, error.faults)) or error.sentence) from error
        return item


COACH_HINT = (
    "With a coach's key, keep only your own school's rows, and leave out season.csv and "
    "organisations.csv: a lead registers those."
)


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


def register(gustbook: Gustbook, folder: Path, season: str | None = None) -> dict[str, int]:
    """Register the rows of a folder's tables; return the number of new ones of each kind.

    `season` names the season of a folder without `season.csv`; by default it is the current one.
    """
    tables = [name for name in (*TABLES, "wind_grids") if (folder / f"{name}.csv").is_file()]
    if not tables:
        words = f"{folder} holds none of {', '.join(TABLES)}.csv"
        raise WrongUse(words)
    registry = Registry(gustbook)
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
        except WrongRow as fault:
            faults.append(f"{title} row {number}: {fault}")
        show_progress(collection, number - 1, len(rows))
    if faults:
        others = f"\n{count} other rows of this table are registered; correct these and run again"
        raise Refused("\n".join(faults) + others)
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
            raise WrongRow("there is no season yet: add season.csv")
        registry.season_id = find_season(registry.gustbook, registry.season_named)["id"]
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
        raise WrongRow(f"names a {needs}, which needs the {column} too")
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
            if not registry.gustbook.get(path)["is_lent"]:
                registry.add(f"{path}/loans", facts | {"organisation_id": holder["id"]})
                count += 1
        except WrongRow as fault:
            faults.append(f"loans.csv row {number}: {fault}")
    if faults:
        raise Refused("\n".join(faults))
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
        except WrongRow as fault:
            faults.append(f"wind_grids.csv row {number}: {fault}")
    if faults:
        raise Refused("\n".join(faults))
    return sum(_register_grid(registry, bench, points) for bench, points in grids.items())


def _register_grid(registry: Registry, bench_id: str, rows: list[Any]) -> int:
    path = f"/v1/benches/{bench_id}/wind-grids"
    if registry.gustbook.get(path)["items"]:
        return 0
    owners = ("organisation", "bench")
    points = [
        {k: v for k, v in row.items() if k not in owners and "monitor" not in k} for row in rows
    ]
    monitor = {k: v for k, v in rows[0].items() if "monitor" in k}
    try:
        registry.add(path, {"points": points} | monitor)
    except WrongRow as fault:
        words = f"wind_grids.csv, bench {rows[0]['bench']}: {fault}"
        raise Refused(words) from fault
    return 1


def words_of_new(new: dict[str, int]) -> str:
    """Return the numbers of new things of each kind as text."""
    return ", ".join(f"{name} {count}" for name, count in new.items() if count)


def main(arguments: list[str] | None = None) -> int:
    """Register the folder named on the command line; return the exit code."""
    parser = options_parser(__doc__, EXAMPLES)
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument(
        "--season",
        help="its name or id, for a folder without season.csv (default: the running one)",
    )
    options = parser.parse_args(arguments)

    def work(gustbook: Gustbook) -> int:
        new = register(gustbook, options.folder, options.season)
        print("registered: " + (words_of_new(new) or "nothing new"))
        return OK

    return run(options.url, work)


if __name__ == "__main__":
    raise SystemExit(main())
