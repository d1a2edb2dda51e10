"""The page that compares two to six teams of any visible schools."""

from fastapi import APIRouter
from starlette.responses import Response

from api.services.reporting.chosen_teams import MOST, ChosenTeams, compare_chosen
from api.services.reporting.documents.chosen import chosen_document
from api.services.reporting.documents.pdf import to_pdf
from api.web import rendering
from api.web.rendering import with_query
from api.web.visitors import Visit, Visited

router = APIRouter()


@router.get("/compare")
def compare_page(visited: Visited) -> Response:
    """Show the chosen teams side by side."""
    chosen = _chosen(visited)
    if chosen is None or not chosen.teams:
        return rendering.show("compare.html", visited, chosen=None, season_id=_season_id(visited))
    query = {"season_id": chosen.season.id, "team_id": [t.build.team_id for t in chosen.teams]}
    document = chosen_document(chosen)
    return rendering.show(
        "compare.html", visited, chosen=chosen, document=document, season_id=chosen.season.id,
        pdf=with_query("/compare.pdf", query), most=MOST,
    )  # fmt: skip


@router.get("/compare.pdf")
def compare_pdf(visited: Visited) -> Response:
    """Give the comparison of the chosen teams as a PDF."""
    chosen = _chosen(visited)
    if chosen is None or not chosen.teams:
        return rendering.show("compare.html", visited, chosen=None, season_id=_season_id(visited))
    headers = {"content-disposition": 'attachment; filename="comparison.pdf"'}
    return Response(to_pdf(chosen_document(chosen)), media_type="application/pdf", headers=headers)


def _season_id(visited: Visit) -> str:
    return visited.request.query_params.get("season_id", "") or visited.season_id


def _chosen(visited: Visit) -> ChosenTeams | None:
    """Return the comparison of the teams in the address; None if it names none."""
    team_ids = visited.request.query_params.getlist("team_id")
    if not team_ids or not _season_id(visited):
        return None
    with visited.reading() as db:
        return compare_chosen(db, visited.caller, _season_id(visited), team_ids)
