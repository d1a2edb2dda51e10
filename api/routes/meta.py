"""The units and names of the API, without a key."""

from typing import Any

from fastapi import APIRouter, Request
from pydantic import BaseModel

from analysis.columns import UNITS
from api.errors import Invalid
from api.models.core.units import FAMILIES
from api.routes.contract import StrictRoute, refusals

router = APIRouter(tags=["about"], route_class=StrictRoute)


class Meta(BaseModel):
    """Names, units and limits a client may want to know."""

    name: str
    version: str
    units: dict[str, str]
    other_units: dict[str, list[str]]


@router.get("/meta", response_model=Meta, responses=refusals(Invalid))
def get_meta(request: Request) -> dict[str, Any]:
    """Tell the names of quantities, their units, and the other units each may be typed in."""
    return {
        "name": request.app.title,
        "version": request.app.version,
        "units": UNITS,
        "other_units": {
            symbol: [unit.symbol for unit in others.values()]
            for symbol, others in FAMILIES.values()
        },
    }
