"""Builds: register the next state of a turbine, list, correct."""

from sqlmodel import Session, col, func, select

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.registry.builds import Build, BuildCreate, BuildQuery, BuildRead, BuildUpdate
from api.models.registry.turbines import Turbine
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner, visible
from api.services.measurements import rechecks
from api.services.registry import reference_rotors


def create(db: Session, caller: Caller, build: BuildCreate) -> BuildRead:
    """Register a build; without a number it gets the turbine's next one.

    Trials of the neighbouring builds are checked again: they may belong to this build.
    """
    turbine = resources.get_row(db, caller, Turbine, build.turbine_id, "turbine_id")
    require_owner(caller, turbine.organisation_id)
    if turbine.team_id is not None and build.assigned_power_w is not None:
        words = say("refused.no_assigned_power")
        raise Invalid(words, [FieldError("not_allowed", words, pointer="/assigned_power_w")])
    if build.parent_build_id is not None:
        _require_same_turbine(db, caller, build)
    revisions.raise_all(db)
    number = build.number or _next_number(db, turbine)
    row = resources.store(
        db, caller, Build, build, number=number, organisation_id=turbine.organisation_id
    )
    rechecks.recheck(db, rechecks.near_build(row))
    return resources.read(BuildRead, row)


def _require_same_turbine(db: Session, caller: Caller, build: BuildCreate) -> None:
    parent = resources.get_row(db, caller, Build, str(build.parent_build_id), "parent_build_id")
    if parent.turbine_id != build.turbine_id:
        words = say("refused.other_turbine")
        raise Invalid(words, [FieldError("not_allowed", words, pointer="/parent_build_id")])


def _next_number(db: Session, turbine: Turbine) -> int:
    resources.lock(db, turbine)  # two builds registered at once must not get the same number
    latest = select(func.max(Build.number)).where(col(Build.turbine_id) == turbine.id)
    return (db.scalar(latest) or 0) + 1


def newest_of(db: Session, caller: Caller, turbine_id: str) -> BuildRead | None:
    """Return the newest build of a turbine, or None."""
    of_turbine = visible(caller, Build).where(col(Build.turbine_id) == turbine_id)
    row = db.scalars(of_turbine.order_by(col(Build.number).desc()).limit(1)).first()
    return resources.read(BuildRead, row) if row else None


def newest_of_team(db: Session, caller: Caller, team_id: str) -> BuildRead | None:
    """Return the build that a team registered last, or None."""
    builds = visible(caller, Build).join(Turbine, col(Turbine.id) == col(Build.turbine_id))
    row = db.scalars(
        builds.where(col(Turbine.team_id) == team_id).order_by(col(Build.id).desc()).limit(1)
    ).first()
    return resources.read(BuildRead, row) if row else None


def get(db: Session, caller: Caller, build_id: str) -> BuildRead:
    """Return a build."""
    return resources.read(BuildRead, resources.get_row(db, caller, Build, build_id))


def page(db: Session, caller: Caller, query: BuildQuery) -> tuple[list[BuildRead], Rest]:
    """Return a page of builds."""
    turbines = select(Turbine.id).where(col(Turbine.team_id) == query.team_id)
    of_team = [col(Build.turbine_id).in_(turbines)] if query.team_id else []
    rows, after = pages.page(db, caller, Build, query, *of_team)
    return [resources.read(BuildRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, build_id: str, changes: BuildUpdate, version: int
) -> BuildRead:
    """Correct a build; its trials and those of the neighbouring builds are checked again."""
    row = resources.get_row(db, caller, Build, build_id)
    require_owner(caller, row.organisation_id)
    revisions.raise_all(db)
    if "assigned_power_w" in changes.model_fields_set:
        reference_rotors.require_unassigned(row)
    resources.change(db, caller, row, changes, version)
    rechecks.recheck(db, rechecks.near_build(row))
    return resources.read(BuildRead, row)
