"""Turbines: register, list, change; a reference rotor is a turbine without a team."""

from sqlmodel import Session, col, select

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.teams import Team
from api.models.registry.turbines import (
    Turbine,
    TurbineCreate,
    TurbineQuery,
    TurbineRead,
    TurbineUpdate,
)
from api.models.trials.trials import Trial
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks
from api.services.registry.equipment import require_kind


def create(db: Session, caller: Caller, turbine: TurbineCreate) -> TurbineRead:
    """Register a turbine of a team, or a reference rotor of the programme."""
    owner = None
    if turbine.team_id is not None:
        owner = resources.get_row(db, caller, Team, turbine.team_id, "team_id").organisation_id
    require_owner(caller, owner)
    require_kind(db, caller, turbine.generator_id, "generator", "generator_id")
    _require_rotor(db, caller, turbine.team_id, turbine.rotor_id)
    row = resources.store(db, caller, Turbine, turbine, organisation_id=owner)
    return resources.read(TurbineRead, row)


def _require_rotor(db: Session, caller: Caller, team_id: str | None, rotor_id: str | None) -> None:
    """Refuse a `rotor_id` for a turbine that is not a reference rotor."""
    if rotor_id is not None and team_id is not None:
        words = say("refused.not_listed")
        raise Invalid(words, [FieldError("not_allowed", words, pointer="/rotor_id")])
    require_kind(db, caller, rotor_id, "reference_rotor", "rotor_id")


def get(db: Session, caller: Caller, turbine_id: str) -> TurbineRead:
    """Return a turbine."""
    return resources.read(TurbineRead, resources.get_row(db, caller, Turbine, turbine_id))


def page(db: Session, caller: Caller, query: TurbineQuery) -> tuple[list[TurbineRead], Rest]:
    """Return a page of turbines."""
    rows, after = pages.page(db, caller, Turbine, query)
    return [resources.read(TurbineRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, turbine_id: str, changes: TurbineUpdate, version: int
) -> TurbineRead:
    """Change a turbine; generator and gear change rotor speeds that are derived from voltage."""
    row = resources.get_row(db, caller, Turbine, turbine_id)
    require_owner(caller, row.organisation_id)
    sent_fields = changes.model_dump(exclude_unset=True)
    require_kind(db, caller, sent_fields.get("generator_id"), "generator", "generator_id")
    _require_rotor(db, caller, row.team_id, sent_fields.get("rotor_id"))
    revisions.raise_all(db)
    resources.change(db, caller, row, changes, version)
    builds = select(Build.id).where(col(Build.turbine_id) == row.id)
    rechecks.recheck(db, col(Trial.build_id).in_(builds))
    return resources.read(TurbineRead, row)
