"""An empty file of trials to fill in."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from api.deps import Read
from api.routes.contract import LIST, StrictRoute
from api.services.template_file import trials_template

router = APIRouter(prefix="/templates", tags=["templates"], route_class=StrictRoute)


class TemplateQuery(BaseModel):
    """How the file is to be written."""

    model_config = ConfigDict(extra="forbid")

    delimiter: Annotated[
        Literal["comma", "semicolon", "tab"], Field(description="What stands between cells.")
    ] = "comma"
    decimal: Annotated[
        Literal["point", "comma"], Field(description="The decimal sign of the example rows.")
    ] = "point"


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
def trials_csv(query: Annotated[TemplateQuery, Query()], read: Read) -> Response:
    """Give the header of a file of trials and two example rows."""
    body = trials_template(query.delimiter, query.decimal)
    headers = {"Content-Disposition": 'attachment; filename="trials.csv"'}
    return Response(body, headers=headers, media_type="text/csv")
