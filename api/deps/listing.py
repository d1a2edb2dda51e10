"""Show things of a list with the fields that were asked for, and with things that they name."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from pydantic import BaseModel
from sqlmodel import Session

from api.errors import FieldError, Invalid, NotFound
from api.messages import say
from api.models.core.shapes import Answer, PageQuery
from api.models.core.validation import nearest
from api.services.core.scope import Caller
from api.services.registry import (
    benches,
    builds,
    equipment,
    events,
    organisations,
    seasons,
    sessions,
    teams,
    turbines,
)

Plain = dict[str, Any]
Get = Callable[[Session, Caller, str], Answer]
#: How to read a thing that a field names, by the field without its `_id`.
NAMED: Mapping[str, Get] = {
    "organisation": organisations.get, "season": seasons.get, "team": teams.get,
    "turbine": turbines.get, "build": builds.get, "bench": benches.get, "session": sessions.get,
    "event": events.get,
    **dict.fromkeys(("fan", "anemometer", "meter", "load", "generator", "equipment"),
                    equipment.get),
}  # fmt: skip


def shown(
    db: Session, caller: Caller, things: Sequence[Any], query: PageQuery, shape: type[BaseModel]
) -> Sequence[Any]:
    """Return things with the fields and the expansions of a query.

    An unknown field, and a name that no field has, are refused with the choices.
    """
    paths, fields = _names(query.expand), _names(query.fields)
    expanded = [path.split(".")[0] for path in paths]
    _require("expand", expanded, _expandable(shape.model_fields))
    _require("fields", fields, [*shape.model_fields, *expanded])
    plain = [_plain(thing) for thing in things]
    read: dict[str, Plain | None] = {}
    for path in paths:
        _expand(db, caller, plain, path, read)
    if not fields:
        return plain
    wanted = {*fields, *expanded}
    return [{name: value for name, value in thing.items() if name in wanted} for thing in plain]


def _names(text: str | None) -> list[str]:
    return [name.strip() for name in (text or "").split(",") if name.strip()]


def _plain(thing: Any) -> Plain:
    return dict(thing) if isinstance(thing, dict) else thing.model_dump()


def _expandable(fields: Sequence[str] | Mapping[str, Any]) -> list[str]:
    return [name for name in NAMED if f"{name}_id" in fields]


def _require(parameter: str, names: Sequence[str], choices: Sequence[str]) -> None:
    """Refuse a name that is none of the choices."""
    for name in names:
        if name not in choices:
            words = say("refused.no_choice", name=name[:60], choices=", ".join(choices))
            hint = nearest(name, choices)
            raise Invalid(words, [FieldError(parameter, words, hint, pointer=f"/{parameter}")])


def _expand(
    db: Session, caller: Caller, things: Sequence[Plain], path: str, read: dict[str, Plain | None]
) -> None:
    """Add the thing that a field names, and within it what the rest of the path names."""
    name, _, rest = path.partition(".")
    for thing in things:
        thing_id = thing.get(f"{name}_id")
        if thing_id is not None and thing_id not in read:
            read[thing_id] = _visible(db, caller, NAMED[name], thing_id)
        thing[name] = read.get(thing_id) if thing_id is not None else None
    inner = list({id(each): each for thing in things if (each := thing[name])}.values())
    if rest and inner:
        _require("expand", [rest.split(".")[0]], _expandable(inner[0]))
        _expand(db, caller, inner, rest, read)


def _visible(db: Session, caller: Caller, get: Get, thing_id: str) -> Plain | None:
    """Return a thing; None if the caller may not see it, as a borrowed fan's owner."""
    try:
        return get(db, caller, thing_id).model_dump()
    except NotFound:
        return None
