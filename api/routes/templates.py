"""An empty file of trials to fill in."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.deps import Read
from api.models.files import FileQuery
from api.routes.contract import LIST, StrictRoute
from api.services.template_file import trials_template

router = APIRouter(prefix="/templates", tags=["templates"], route_class=StrictRoute)


@router.get(
    "/trials.csv",
    response_class=Response,
    responses=LIST
    | {
        200: {
            "content": {"text/csv": {"example": "organisation,team,turbine,build\r\n"}},
            "description": "The header and two example rows, which an import passes over.",
        }
    },
)
def trials_csv(query: Annotated[FileQuery, Query()], read: Read) -> Response:
    """Give the header of a file of trials and two example rows."""
    body = trials_template(query.delimiter, query.decimal)
    headers = {"Content-Disposition": 'attachment; filename="trials.csv"'}
    return Response(body, headers=headers, media_type="text/csv")
