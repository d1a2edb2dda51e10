"""Look up the things that a row names, within what the caller may see."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches
from typing import Any, Protocol, TypeVar, cast
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, not_, select

from api.errors import NotFound
from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core.scope import Caller, may_see, visible
from api.services.imports.cells import NotAValue
from api.services.imports.headers import NAME_COLUMNS
from api.services.registry.sessions import GRACE

Thing = TypeVar("Thing")
Named = TypeVar("Named", Organisation, Team, Bench, Turbine)


class Cells(Protocol):
    """The values of a row, by column."""

    def get(self, name: str) -> Any:
        """Return the value of a column, or None if the cell is empty."""


class Unresolved(Exception):
    """Names that are unknown, or that mean more than one thing."""

    def __init__(self, column: str, reason: NotAValue) -> None:
        super().__init__(str(reason))
        self.columns = {column: reason}


@dataclass(frozen=True, slots=True)
class Place:
    """The build and bench of a row, with the team and the time zone."""

    build: Build
    bench: Bench
    team: Team | None
    zone: str


def plain(name: object) -> str:
    """Return a name in lower case with single spaces."""
    return " ".join(str(name).casefold().split())


class Directory:
    """All things that the caller may see, by name; read once for an import."""

    def __init__(self, db: Session, caller: Caller, season_id: str | None) -> None:
        def rows(table: Any) -> list[Any]:
            return list(db.scalars(visible(caller, table)))

        self.seasons: dict[str, Season] = {
            row.id: row for row in rows(Season) if season_id in (None, row.id)
        }
        if season_id is not None and not self.seasons:
            raise NotFound(say("import_refused.no_season", season_id=season_id))
        self.organisations: list[Organisation] = rows(Organisation)
        self.owners = {row.id: row for row in self.organisations}
        self.teams = [row for row in rows(Team) if row.season_id in self.seasons]
        self.benches: list[Bench] = rows(Bench)
        self.turbines: dict[str | None, list[Turbine]] = _by(rows(Turbine), "team_id")
        self.builds: dict[str, list[Build]] = _by(rows(Build), "turbine_id")
        self.visited = _visited(db, caller)
        self._places: dict[tuple[Any, ...], Place] = {}

    def place(self, cells: Cells) -> Place:
        """Return the things that a row names; raise `Unresolved` with all unknown names."""
        ref = cells.get("client_ref") if self.visited else None
        names = *(cells.get(column) for column in NAME_COLUMNS), ref
        if names not in self._places:
            self._places[names] = self._place(cells)
        return self._places[names]

    def _place(self, cells: Cells) -> Place:
        unknown: list[Unresolved] = []

        def attempt(find: Callable[..., Any], *about: Any) -> Any:
            try:
                return find(cells, *about)
            except Unresolved as unresolved:
                # Drop the traceback, whose frames refer to this list and use memory for each row.
                unknown.append(unresolved.with_traceback(None))
                return None

        is_reference = cells.get("kind") == "reference"
        owner = attempt(self._organisation, "organisation")
        team = None if is_reference else attempt(self._team, owner)
        build = attempt(self._build, team) if team or is_reference else None
        bench = self._visited(build, cells.get("client_ref"))
        if bench is None:
            host = attempt(self._organisation, "bench_organisation")
            home = owner or (self.owners.get(team.organisation_id) if team else None)
            bench = attempt(self._bench, host or home) if host or home or is_reference else None
        if unknown:
            raise _together(unknown)
        zone = self._zone(bench, team, str(cells.get("session_started_at") or ""))
        return Place(cast(Build, build), cast(Bench, bench), team, zone)

    def _visited(self, build: Build | None, ref: Any) -> Bench | None:
        """Return the bench of another school at which the stored trial of this name was run."""
        return None if build is None else self.visited.get((build.id, str(ref)))

    def _zone(self, bench: Any, team: Team | None, moment: str) -> str:
        """Return the time zone of the bench: of its school, else of the season by team or day."""
        owner = self.owners.get(bench.organisation_id)
        if owner is not None and owner.timezone:
            return owner.timezone
        if team is not None:
            return self.seasons[team.season_id].timezone
        zones = {season.timezone for season in self.seasons.values() if _may_hold(season, moment)}
        return zones.pop() if len(zones) == 1 else "UTC"

    def season_of(self, place: Place, started_at: datetime) -> str:
        """Return the season of a row: its team's, or the only one on its day."""
        if place.team is not None:
            return place.team.season_id
        fitting = [
            season
            for season in self.seasons.values()
            if season.starts_on - GRACE
            <= started_at.astimezone(ZoneInfo(season.timezone)).date()
            <= season.ends_on + GRACE
        ]
        if len(fitting) != 1:
            words = say("import_moment.many_seasons") if fitting else say("import_moment.no_season")
            reason = NotAValue("season", words, say("import_moment.name_season"))
            raise Unresolved("session_started_at", reason)
        return fitting[0].id

    def _organisation(self, cells: Cells, column: str) -> Organisation | None:
        name = cells.get(column)
        return None if name is None else _one(column, name, self.organisations)

    def _team(self, cells: Cells, owner: Organisation | None) -> Any:
        among = [team for team in self.teams if owner is None or team.organisation_id == owner.id]
        return _one("team", _needed(cells, "team"), among)

    def _bench(self, cells: Cells, owner: Organisation | None) -> Bench:
        name = cells.get("bench")
        own = [each for each in self.benches if owner is None or each.organisation_id == owner.id]
        if name is None:
            return _only("bench", own, lambda bench: bench.name)
        at_home = [bench for bench in own if plain(bench.name) == plain(name)]
        visiting = cells.get("kind") in ("visit", "event", "reference")
        return at_home[0] if at_home else _one("bench", name, self.benches if visiting else own)

    def _build(self, cells: Cells, team: Team | None) -> Build:
        turbines = self.turbines.get(team.id if team else None, [])
        name = cells.get("turbine")
        turbine = (
            _only("turbine", turbines, lambda each: each.name)
            if name is None
            else _one("turbine", name, turbines)
        )
        builds = self.builds.get(turbine.id, [])
        number = cells.get("build")
        if number is None:
            return _only("build", builds, lambda build: str(build.number))
        newest = max((build.number for build in builds), default=None)
        matches = [build for build in builds if build.number == (number or newest)]
        if not matches:
            raise Unresolved(
                "build", _unknown("build", str(number), [str(b.number) for b in builds])
            )
        return matches[0]


def _may_hold(season: Season, moment: str) -> bool:
    """Tell whether a typed day may be in a season; text that is not a day is reported elsewhere."""
    try:
        day = date.fromisoformat(moment[:10])
    except ValueError:
        return True
    return season.starts_on - GRACE <= day <= season.ends_on + GRACE


def _visited(db: Session, caller: Caller) -> dict[tuple[str, str], Bench]:
    """Return the benches of other schools that the caller's trials used, by build and name."""
    if caller.reaches_all:
        return {}
    away = (
        select(Trial.build_id, Trial.client_ref, Trial.id, Bench)
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .where(may_see(caller, Trial), not_(may_see(caller, Bench)))
    )
    benches = {}
    for build_id, ref, trial_id, bench in db.execute(away):
        benches[build_id, trial_id] = benches[build_id, str(ref)] = bench
    return benches


def _by(rows: Iterable[Thing], field: str) -> dict[Any, list[Thing]]:
    grouped: dict[Any, list[Thing]] = defaultdict(list)
    for row in rows:
        grouped[getattr(row, field)].append(row)
    return grouped


def _together(unknown: list[Unresolved]) -> Unresolved:
    """Return one new error for all unknown names.

    Raising one of `unknown` itself would create a reference cycle with its frame.
    """
    (column, reason), *_ = unknown[0].columns.items()
    together = Unresolved(column, reason)
    for each in unknown:
        together.columns |= each.columns
    return together


def _needed(cells: Cells, column: str) -> Any:
    value = cells.get(column)
    if value is None:
        raise Unresolved(column, NotAValue("missing", say("import_name.needed")))
    return value


def _one(column: str, name: Any, among: list[Named]) -> Named:
    """Return the only thing of that name, or refuse the name."""
    matches = [thing for thing in among if plain(thing.name) == plain(name)]
    matches = [thing for thing in matches if thing.name == name] or matches
    if len(matches) == 1:
        return matches[0]
    if not matches:
        raise Unresolved(column, _unknown(column, str(name), [thing.name for thing in among]))
    words, hint = (
        say("import_name.ambiguous", count=len(matches)),
        say("import_name.ambiguous_hint"),
    )
    raise Unresolved(column, NotAValue("ambiguous", words, hint))


def _only(column: str, among: list[Thing], name: Callable[[Thing], str]) -> Thing:
    """Return the only thing there is, for an empty cell."""
    if len(among) == 1:
        return among[0]
    listed = ", ".join(sorted(name(thing) for thing in among)[:8])
    words = say("import_name.empty_cell") if among else say("import_name.none_registered")
    hint = say("import_name.known", listed=listed) if listed else None
    raise Unresolved(column, NotAValue("missing", words, hint))


def _unknown(column: str, name: str, names: list[str]) -> NotAValue:
    close = get_close_matches(plain(name), [plain(each) for each in names], n=1, cutoff=0.5)
    near = [each for each in names if close and plain(each) == close[0]]
    hint = None
    if near:
        hint = say("import_hint.did_you_mean", near=near[0])
    elif names:
        hint = say("import_name.known", listed=", ".join(sorted(names)[:8]))
    return NotAValue("unknown_name", say(f"import_unknown.{column}"), hint)
