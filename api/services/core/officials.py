"""Official runs of an event: only those who hold the event correct what they depend on."""

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from api.errors import NotPermitted
from api.messages import say
from api.models.events.runs import EventRun
from api.models.trials.trials import Trial
from api.services.core.scope import Caller


def require_lead_where_official(
    db: Session, caller: Caller, about: ColumnElement[bool], key: str
) -> None:
    """Refuse a coach, in the words of a key, where a trial of a condition is an official run."""
    if caller.reaches_all:
        return
    official = select(EventRun.id).join(Trial, col(Trial.id) == col(EventRun.trial_id)).where(about)
    if db.scalar(official.limit(1)) is not None:
        raise NotPermitted(say(key))
