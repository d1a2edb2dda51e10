"""The options of selection fields: ids with names, of things that the caller may see."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, func, or_, select

from api.messages import say
from api.messages.days import short_day
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.loans import Loan
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.services.core.scope import Caller, may_see, visible

Pairs = list[tuple[str, str]]
MOST = 300


def equipment(db: Session, caller: Caller, kind: str, organisation_id: str | None) -> Pairs:
    """Return pieces of one kind that a school owns or has borrowed, or the programme owns."""
    borrowed = select(col(Loan.equipment_id)).where(
        col(Loan.organisation_id) == organisation_id, col(Loan.returned_on).is_(None)
    )
    at_hand = or_(
        col(Equipment.organisation_id) == organisation_id,
        col(Equipment.organisation_id).is_(None),
        col(Equipment.id).in_(borrowed),
    )
    rows = visible(caller, Equipment).where(col(Equipment.kind) == kind, at_hand)
    return [(row.id, row.tag) for row in db.scalars(rows.order_by(col(Equipment.tag)).limit(MOST))]


def organisations(db: Session, caller: Caller) -> Pairs:
    """Return the schools within reach."""
    rows = visible(caller, Organisation).order_by(col(Organisation.name)).limit(MOST)
    return [(row.id, row.name) for row in db.scalars(rows)]


def seasons(db: Session, caller: Caller) -> Pairs:
    """Return seasons, newest first."""
    rows = visible(caller, Season).order_by(col(Season.starts_on).desc()).limit(MOST)
    return [(row.id, row.name) for row in db.scalars(rows)]


def benches(db: Session, caller: Caller) -> Pairs:
    """Return benches with their schools."""
    rows = (
        select(Bench, Organisation.name)
        .join(Organisation, col(Organisation.id) == col(Bench.organisation_id))
        .where(may_see(caller, Bench))
        .order_by(col(Organisation.name), col(Bench.name))
    )
    return [(row.id, f"{row.name} · {school}") for row, school in db.execute(rows.limit(MOST))]


@dataclass(frozen=True)
class BuildsOfTeam:
    """The builds of one team, or those of all reference rotors, as options of a field."""

    name: str
    organisation_id: str | None  # None for reference rotors
    options: Pairs

    def place(self, first_school: str) -> tuple[bool, bool, str]:
        """Return the key of its place: one school first, reference rotors last."""
        return self.organisation_id is None, self.organisation_id != first_school, self.name


def builds(
    db: Session, caller: Caller, season_id: str, chosen: str = "", first_school: str = ""
) -> list[BuildsOfTeam]:
    """Return the builds of a season by team: one school's first, reference rotors last.

    At most `MOST` builds are returned, always with the chosen one.
    """
    rows = (
        select(Build, Turbine, Team)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .outerjoin(Team, col(Team.id) == col(Turbine.team_id))
        .where(may_see(caller, Build))
        .where(or_(col(Team.season_id) == season_id, col(Turbine.team_id).is_(None)))
        .order_by(
            col(Build.id) != chosen,
            func.coalesce(col(Team.organisation_id), "") != first_school,
            col(Team.name),
            col(Turbine.name),
            col(Build.number).desc(),
        )
    )
    groups: dict[str, BuildsOfTeam] = {}
    for build, turbine, team in db.execute(rows.limit(MOST)):
        group = groups.setdefault(team.id if team else "", _group(team))
        label = say("build.title", turbine=named_turbine(turbine, team), number=build.number)
        changed = f" ({build.changed_factor})" if build.changed_factor else ""
        group.options.append((build.id, label + changed))
    return sorted(groups.values(), key=lambda group: group.place(first_school))


def _group(team: Team | None) -> BuildsOfTeam:
    if team is None:
        return BuildsOfTeam(reference_rotors(), None, [])
    return BuildsOfTeam(team.name, team.organisation_id, [])


def reference_rotors() -> str:
    """Return the heading for the builds of reference rotors."""
    return say("pick.reference_rotors")


def named_turbine(turbine: Turbine, team: Team | None) -> str:
    """Return a turbine by its team and its name; a reference rotor has no team.

    >>> named_turbine(Turbine(name="Whirl"), Team(name="Larch one"))
    'Larch one: Whirl'
    """
    return f"{team.name}: {turbine.name}" if team else turbine.name


def sessions(
    db: Session, caller: Caller, season_id: str, chosen: str = "", most: int = 30
) -> Sequence[tuple[BenchSession, Bench, str]]:
    """Return the newest sessions of a season and the chosen one, with benches and time zones."""
    rows = (
        select(BenchSession, Bench, Organisation.timezone, Season.timezone)
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .join(Organisation, col(Organisation.id) == col(Bench.organisation_id))
        .join(Season, col(Season.id) == col(BenchSession.season_id))
        .where(may_see(caller, BenchSession), col(BenchSession.season_id) == season_id)
        .order_by(
            col(BenchSession.id) != chosen,
            col(BenchSession.started_at).desc(),
            col(BenchSession.id),
        )
        .limit(most)
    )
    return [(row, bench, own or zone) for row, bench, own, zone in db.execute(rows)]


def when(moment: datetime, zone: str) -> str:
    """Return a moment in a school's time zone, short enough for a selection field.

    >>> from datetime import UTC
    >>> when(datetime(2026, 3, 5, 14, 30, tzinfo=UTC), "Europe/Dublin")
    '5 Mar 2026, 14:30'
    """
    local = moment.astimezone(ZoneInfo(zone))
    return say("pick.when", day=short_day(local), year=local.year, time=f"{local:%H:%M}")


def names_of_builds(db: Session, build_ids: Sequence[str]) -> dict[str, str]:
    """Return builds by their team, or the turbine of no team, and their number."""
    rows = (
        select(Build, Turbine, Team)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .outerjoin(Team, col(Team.id) == col(Turbine.team_id))
        .where(col(Build.id).in_(build_ids))
    )
    return {
        build.id: say("build.named", team=team.name if team else turbine.name, number=build.number)
        for build, turbine, team in db.execute(rows)
    }
