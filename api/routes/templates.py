"""Template files: trials to fill in, rules to change."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import JSONResponse, Response

from api.deps import Read, as_file
from api.models.imports.trial_files import FileQuery
from api.models.registry.rule_sets import RuleSet
from api.routes.contract import ASK, StrictRoute
from api.routes.files import CSV, answers_csv
from api.services.imports.template_file import trials_template
from api.services.registry import rule_sets

router = APIRouter(prefix="/templates", tags=["templates"], route_class=StrictRoute)


@router.get(
    "/trials.csv",
    response_class=Response,
    responses=ASK
    | answers_csv(
        "organisation,team,turbine,build\r\n",
        "The header and two example rows, which an import passes over.",
    ),
)
def get_trials_template(query: Annotated[FileQuery, Query()], read: Read) -> Response:
    """Give the header of a file of trials and two example rows."""
    body = trials_template(query.delimiter, query.decimal)
    return as_file(body, CSV, "trials.csv")


@router.get("/rule-set.json", response_model=RuleSet, responses=ASK)
def get_rule_set_example(read: Read) -> Response:
    """Give a rule set of an invented region, to change into an event's own."""
    return JSONResponse(rule_sets.example())


@router.get(
    "/rule-set.schema.json",
    response_model=dict[str, Any],
    responses=ASK
    | {
        200: {
            "content": {"application/json": {"example": {"title": "Rule set", "type": "object"}}},
            "description": "JSON Schema, draft 2020-12.",
        }
    },
)
def get_rule_set_schema(read: Read) -> Response:
    """Give the JSON Schema of a rule set."""
    return JSONResponse(rule_sets.schema())
