"""Seasons: open, list, change."""

from sqlmodel import Session

from api.errors import Invalid
from api.messages import say
from api.models.registry.seasons import Season, SeasonCreate, SeasonQuery, SeasonRead, SeasonUpdate
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.measurements import rechecks
from api.services.registry import rule_sets


def create(db: Session, caller: Caller, season: SeasonCreate) -> SeasonRead:
    """Open a season."""
    rules = rule_sets.checked(season.rule_set)
    return resources.read(SeasonRead, resources.store(db, caller, Season, season, rule_set=rules))


def get(db: Session, caller: Caller, season_id: str) -> SeasonRead:
    """Return a season."""
    return resources.read(SeasonRead, resources.get_row(db, caller, Season, season_id))


def page(db: Session, caller: Caller, query: SeasonQuery) -> tuple[list[SeasonRead], Rest]:
    """Return a page of seasons."""
    rows, after = pages.page(db, caller, Season, query)
    return [resources.read(SeasonRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, season_id: str, changes: SeasonUpdate, version: int
) -> SeasonRead:
    """Change a season; a new reference wind changes all its normalised powers."""
    row = resources.get_row(db, caller, Season, season_id)
    revisions.raise_season(db, row.id)
    resources.change(db, caller, row, changes, version, **rule_sets.checked_change(changes))
    if row.ends_on < row.starts_on:
        raise Invalid(say("fault.ends_before_start"))
    rechecks.recheck_season(db, row.id)
    return resources.read(SeasonRead, row)
