"""Give each team of a school, or of an event, its page: in one PDF, or a file each."""

import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.errors import Invalid
from api.messages import say
from api.models.registry.events import Event
from api.models.registry.organisations import Organisation
from api.models.registry.teams import Team
from api.services.core import resources
from api.services.core.scope import Caller, visible
from api.services.reporting import report_subjects
from api.services.reporting.documents.blocks import Document
from api.services.reporting.documents.handout import handout_document
from api.services.reporting.documents.pdf import to_pdf

MOST_TEAMS = 100  # in one file: each takes about a fifth of a second
NOT_IN_NAMES = re.compile(r"[^\w\- ]+")


@dataclass(frozen=True, slots=True)
class Handout:
    """A team's page with the name of its file, without an ending."""

    name: str
    document: Document


def of_team(db: Session, caller: Caller, team_id: str) -> list[Handout]:
    """Return the hand-out of one team."""
    return _of(db, caller, [resources.get_row(db, caller, Team, team_id)])


def of_school(db: Session, caller: Caller, organisation_id: str, season_id: str) -> list[Handout]:
    """Return the hand-outs of a school's teams in a season, by name."""
    school = resources.get_row(db, caller, Organisation, organisation_id)
    return _of(db, caller, _teams(db, caller, season_id, school.id))


def of_event(db: Session, caller: Caller, event_id: str) -> list[Handout]:
    """Return the hand-outs of an event's teams that the caller reads, by school and name."""
    event = resources.get_row(db, caller, Event, event_id)
    return _of(db, caller, _teams(db, caller, event.season_id, None))


def _teams(db: Session, caller: Caller, season_id: str, organisation_id: str | None) -> list[Team]:
    wanted = visible(caller, Team).where(col(Team.season_id) == season_id)
    if organisation_id is not None:
        wanted = wanted.where(col(Team.organisation_id) == organisation_id)
    return list(db.scalars(wanted.order_by(col(Team.organisation_id), col(Team.name))))


def _of(db: Session, caller: Caller, teams: Sequence[Team]) -> list[Handout]:
    if len(teams) > MOST_TEAMS:
        raise Invalid(say("refused.many_handouts", count=len(teams), most=MOST_TEAMS))
    schools = dict(db.execute(select(Organisation.id, Organisation.name)).all())
    return [_handout(db, caller, team, schools[team.organisation_id]) for team in teams]


def _handout(db: Session, caller: Caller, team: Team, school: str) -> Handout:
    sheet = report_subjects.team_sheet(db, caller, team.id)
    return Handout(f"{school} - {team.name}", handout_document(sheet, school))


def as_pdf(handouts: Sequence[Handout]) -> bytes:
    """Return all hand-outs as one PDF, a page or more each."""
    return to_pdf(*(each.document for each in handouts))


def as_zip(handouts: Sequence[Handout]) -> bytes:
    """Return the hand-outs as a zip file with one PDF each, named by school and team."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, each in zip(_file_names(handouts), handouts, strict=True):
            archive.writestr(name, to_pdf(each.document))
    return out.getvalue()


def _file_names(handouts: Sequence[Handout]) -> Iterator[str]:
    """Yield a file name for each hand-out; of equal ones, the later ones are numbered."""
    counts: dict[str, int] = {}
    for each in handouts:
        name = NOT_IN_NAMES.sub("", each.name).strip() or "team"
        counts[name.casefold()] = counts.get(name.casefold(), 0) + 1
        number = counts[name.casefold()]
        yield f"{name}.pdf" if number == 1 else f"{name} {number}.pdf"
