"""Results as tidy tables over HTTP, for spreadsheets, notebooks and statistics programs."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response, StreamingResponse

from api.deps import Read, database
from api.models.reporting.results import ResultsQuery
from api.routes.contract import READ, StrictRoute
from api.routes.files import BYTES, CSV_UTF_8, TEXT
from api.services.reporting.results.columns import COLUMNS, OF_RUN, OF_TRIAL, describe
from api.services.reporting.results.files import MEDIA, in_chunks, write_results
from api.services.reporting.results.reading import read_results

router = APIRouter(prefix="/results", tags=["reports"], route_class=StrictRoute)
FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {
            CSV_UTF_8: {"schema": TEXT, "example": "trial_id,team,normalised_power_w\r\n"},
            MEDIA["xlsx"]: {"schema": BYTES},
            MEDIA["parquet"]: {"schema": BYTES},
        },
        "description": "One row for each trial or run, in the format asked for.",
    }
}


ABOUT = f"""Give results as a tidy table: one row for each trial or run, all facts and figures.

Numbers are in the unit of their column's name, moments in UTC. Powers are in watts; `u_…` are
relative standard uncertainties (k = 1), intervals are k = 2. In CSV, yes and no are `TRUE` and
`FALSE`, and a missing value is an empty cell. Parquet has the type, unit and meaning of each
column, and pandas reads its units as `attrs["units"]`.

The columns of a trial: {describe(OF_TRIAL)}. Those of a run as well: {describe(OF_RUN)}."""


@router.get("", responses=READ | FILE, response_class=Response, description=ABOUT)
def get_results(query: Annotated[ResultsQuery, Query()], request: Request, read: Read) -> Response:
    """Give results as a tidy table, as described above."""
    with database(request).reading() as db:
        out = write_results(
            query.format, COLUMNS[query.rows], read_results(db, read.caller, query), query.rows
        )
    headers = {"Content-Disposition": f'attachment; filename="{query.rows}.{query.format}"'}
    return StreamingResponse(in_chunks(out), headers=headers, media_type=MEDIA[query.format])
