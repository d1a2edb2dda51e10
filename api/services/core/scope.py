"""The caller of a request and what they may see: every query starts from this module."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select, and_, bindparam, false, or_, select, true
from sqlmodel import Session, col

from api.errors import NotFound, NotPermitted
from api.messages import say
from api.models.access.keys import AccessKey, Role
from api.models.core.shapes import Recorded
from api.models.events.runs import EventRun, RunOrder
from api.models.imports.imports import ImportBatch, ImportOrganisation
from api.models.registry.equipment import Equipment
from api.models.registry.events import Event
from api.models.registry.loans import Loan
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.reporting.shares import Share
from api.models.trials.trials import Trial
from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import Webhook

Table = TypeVar("Table", bound=Recorded)


@dataclass(frozen=True, slots=True)
class Caller:
    """The caller: a key, its role and the organisations it reaches (`None` is all).

    With `published_only`, as for a share link to a season, the caller also reaches the schools of
    others, and sees a trial only once it is published to all.
    """

    key_id: str
    label: str
    role: Role
    organisation_ids: frozenset[str] | None
    published_only: bool = False

    @property
    def sees_unpublished_of(self) -> frozenset[str] | None:
        """Return the organisations whose trials this caller sees at once; `None` is all."""
        return frozenset() if self.published_only else self.organisation_ids

    @property
    def reaches_all(self) -> bool:
        """Tell whether every organisation is in reach."""
        return self.organisation_ids is None

    def reaches(self, organisation_id: str | None) -> bool:
        """Tell whether an organisation's things are in reach (`None` is the programme itself)."""
        within = self.organisation_ids
        return within is None or organisation_id is None or organisation_id in within

    @property
    def sees(self) -> tuple[str, ...] | None:
        """Return what this caller may see, as part of a cache key."""
        if self.organisation_ids is None:
            return None
        return ("published only",) * self.published_only + tuple(sorted(self.organisation_ids))


def visible(caller: Caller, table: type[Table]) -> Select[Table]:
    """Return the query for all rows of a table that the caller may see."""
    return select(table).where(may_see(caller, table))


def may_see(caller: Caller, table: type[Recorded]) -> ColumnElement[bool]:
    """Return the condition on a table's rows that the caller may see."""
    if caller.organisation_ids is None:
        return true()
    rule = SPECIAL.get(table)
    return rule(caller) if rule else _owned(table, caller.organisation_ids)


def within_reach(table: type[Recorded]) -> ColumnElement[bool]:
    """Return the condition on the rows of an owned table for any caller who does not reach all.

    The query names the organisations in reach: `reach`.
    """
    return _owned(table, bindparam("reach", expanding=True))


def _owned(table: Any, organisation_ids: Any) -> ColumnElement[bool]:
    """Return the condition that one of the organisations or the programme owns the row."""
    owner = col(table.organisation_id)
    may_be_nobody = table.__table__.c.organisation_id.nullable
    within = owner.in_(organisation_ids)
    return or_(within, owner.is_(None)) if may_be_nobody else within


def _own_import(caller: Caller) -> ColumnElement[bool]:
    """Return the condition that this key made the import and still reaches all its schools."""
    beyond = select(col(ImportOrganisation.import_id)).where(
        col(ImportOrganisation.organisation_id).not_in(caller.organisation_ids or ())
    )
    return and_(col(ImportBatch.key_id) == caller.key_id, col(ImportBatch.id).not_in(beyond))


def _own_share(caller: Caller) -> ColumnElement[bool]:
    """Return the condition that the link shows an own team, or that this key made it."""
    of_team = col(Share.organisation_id).in_(caller.organisation_ids or ())
    return or_(of_team, col(Share.key_id) == caller.key_id)


def _own_webhook(caller: Caller) -> ColumnElement[bool]:
    """Return the condition that the webhook is an own school's; the programme's are a lead's."""
    return col(Webhook.organisation_id).in_(caller.organisation_ids or ())


def _of_own_webhook(caller: Caller) -> ColumnElement[bool]:
    """Return the condition that the delivery belongs to a webhook that the caller may see."""
    own = select(col(Webhook.id)).where(_own_webhook(caller))
    return col(WebhookDelivery.webhook_id).in_(own)


def _lent(caller: Caller) -> ColumnElement[bool]:
    """Return the condition that one of the organisations borrows or lends."""
    reached = caller.organisation_ids or ()
    return or_(col(Loan.organisation_id).in_(reached), col(Loan.owner_id).in_(reached))


def _at_hand(caller: Caller) -> ColumnElement[bool]:
    """Return the condition that the organisations own the equipment, or borrow it now."""
    reached = caller.organisation_ids or frozenset()
    borrowed = select(col(Loan.equipment_id)).where(
        col(Loan.organisation_id).in_(reached), col(Loan.returned_on).is_(None)
    )
    return or_(_owned(Equipment, reached), col(Equipment.id).in_(borrowed))


SPECIAL: dict[type[Recorded], Callable[[Caller], ColumnElement[bool]]] = {
    Season: lambda _: true(),
    Event: lambda _: true(),
    RunOrder: lambda _: true(),
    Organisation: lambda caller: col(Organisation.id).in_(caller.organisation_ids or ()),
    AccessKey: lambda _: false(),
    ImportBatch: _own_import,
    Loan: _lent,
    Share: _own_share,
    Equipment: _at_hand,
    Webhook: _own_webhook,
    WebhookDelivery: _of_own_webhook,
}


def require_owner(caller: Caller, organisation_id: str | None) -> None:
    """Refuse a caller who may not write things of an organisation (`None` is the programme)."""
    if caller.role == "reader":
        raise NotPermitted(say("refused.reader"))
    if caller.organisation_ids is None:
        return
    if organisation_id is None:
        raise NotPermitted(say("refused.programmes_own"))
    if organisation_id not in caller.organisation_ids:
        raise NotFound(say("refused.no_organisation", id=organisation_id))


# --- official runs: only a lead corrects what they depend on ------------------------------------


def require_lead_where_official(
    db: Session, caller: Caller, about: ColumnElement[bool], key: str
) -> None:
    """Refuse a coach if any trial that meets the condition is an official run."""
    if caller.reaches_all:
        return
    official = (
        select(col(EventRun.id)).join(Trial, col(Trial.id) == col(EventRun.trial_id)).where(about)
    )
    if db.scalar(official.limit(1)) is not None:
        raise NotPermitted(say(key))


# --- who may be named: own teams, and those of schools that share theirs by name ----------------

NAMED = "named"


@dataclass(frozen=True, slots=True)
class Namer:
    """The teams of a season that one caller may see the names of."""

    teams: dict[str, Team]
    schools: dict[str, str]

    def name(self, team_id: str) -> str:
        """Return a team's name with its school, or words for a team that is not named."""
        team = self.teams.get(team_id)
        if team is None:
            return say("named.another_team")
        return f"{team.name} ({self.schools[team.organisation_id]})"

    def shown_id(self, team_id: str | None) -> str | None:
        """Return a team's id, or None if the team must not be named."""
        return team_id if team_id in self.teams else None


def namer(db: Session, caller: Caller, season_id: str) -> Namer:
    """Return the names of the teams of a season that a caller may see."""
    rows = (
        select(Team, Organisation)
        .join(Organisation, col(Organisation.id) == col(Team.organisation_id))
        .where(col(Team.season_id) == season_id)
    )
    shown = [
        (team, school)
        for team, school in db.execute(rows)
        if caller.reaches(school.id) or school.sharing == NAMED
    ]
    return Namer(
        {team.id: team for team, _ in shown}, {school.id: school.name for _, school in shown}
    )
