"""The page of a build: its dimensions, its safety figures and its trials."""

from typing import Annotated

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.safety import SafetyQuery
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core import resources
from api.services.registry import safety
from api.services.trials import stored_trials
from api.web import forms, rendering
from api.web.descriptions import history_of, session_days
from api.web.registration.fields import BUILD
from api.web.visitors import Visited

router = APIRouter()
SHOWN = 100  # trials of one build on its page, newest first


@router.get("/builds/{build_id}")
def build_page(build_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a build: dimensions, safety figures, and its trials with their questions."""
    with visited.reading() as db:
        build = resources.get_row(db, visited.caller, Build, build_id)
        turbine = db.get_one(Turbine, build.turbine_id)
        team = db.get(Team, turbine.team_id) if turbine.team_id else None
        figures = safety.of_build(db, visited.caller, build_id, SafetyQuery())
        build_trials = stored_trials.newest(
            db, visited.caller, col(Trial.build_id) == build.id, most=SHOWN
        )
        done = history_of(db, visited, Build, build.id)
        days, zone = session_days(db, build_trials), _zone(db, team)
        newest = max(db.scalars(select(Build.number).where(col(Build.turbine_id) == turbine.id)))
    return rendering.show(
        "build.html",
        visited,
        build=build,
        turbine=turbine,
        team=team,
        figures=figures,
        dimensions=dimensions(build),
        trials=build_trials,
        history=done,
        days=days,
        zone=zone,
        is_newest=build.number == newest,
        left_out=[say("page.newest_only", count=SHOWN)] if len(build_trials) == SHOWN else (),
    )


def _zone(db: Session, team: Team | None) -> str:
    """Return the time zone of a team's school, else of its season; UTC for a reference rotor."""
    if team is None:
        return "UTC"
    own = db.get_one(Organisation, team.organisation_id).timezone
    return own or db.get_one(Season, team.season_id).timezone


def dimensions(build: Build) -> list[tuple[str, str]]:
    """Return the dimensions of a build, with units."""
    shown = forms.shown(BUILD, build)
    return [
        (each.label, dict(each.choices).get(shown[each.name], shown[each.name]))
        for each in BUILD
        if shown[each.name] and each.name != "note"
    ]
