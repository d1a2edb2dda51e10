"""Enter and change things by a form, in the same way for every kind of thing.

An `Entry` defines the shapes, fields and choices of a kind, and its four routes are made from it.
Values from the address (the team, the turbine) are hidden fields of the form.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.messages import say
from api.models.core.shapes import Input, Stored
from api.services.core import resources
from api.services.core.cautions import Cautions, decides
from api.services.core.scope import Caller
from api.web import forms, rendering
from api.web.forms import Choices, Field, Filled
from api.web.submitting import Unready, sound, tried
from api.web.visitors import Post, Posted, PostedByLead, Visit, Visited

Values = dict[str, Any]
Typed = Mapping[str, str]
VERSION = "version"
#: The key of the current season of the pages, for suggestions.
SEASON_NOW = "season now"
Crumb = tuple[str, str]
Offers = Callable[[Session, Caller, Typed], Mapping[str, Choices]]


@dataclass(frozen=True, slots=True)
class Entry:
    """The form of one kind of thing."""

    collection: str
    kind: str
    create_shape: type[Input]
    change_shape: type[Input]
    create: Callable[[Session, Caller, Any], Any]
    get: Callable[[Session, Caller, str], Any]
    change: Callable[[Session, Caller, str, Any, int], Any]
    fields: Callable[[Typed], Sequence[Field]]
    #: The page to go to after the thing is stored.
    page: Callable[[Any], str]
    #: Values in the address of a new thing, which cannot change afterwards, with their tables.
    from_address: Mapping[str, type[Stored] | None] = field(default_factory=dict)
    #: Those of them that are optional.
    may_miss: frozenset[str] = frozenset()
    #: Fields of new things only.
    once: frozenset[str] = frozenset()
    #: Fields that only a lead may change afterwards.
    leads: frozenset[str] = frozenset()
    #: The choices by field.
    offers: Offers = lambda db, caller, typed: {}
    #: Suggested values of a new form, from the values in the address.
    suggest: Callable[[Session, Caller, Typed], Typed] = lambda db, caller, from_address: {}
    #: Turns the values that were read (all, and the changed ones) into those of the shape.
    prepare: Callable[[Session, Caller, Values, Values], Values] = (
        lambda db, caller, values, moved: moved
    )
    #: Additional values of a new thing.
    newly: Callable[[Session, Caller, Values], Values] = lambda db, caller, values: {}
    #: Stores other rows with a new thing.
    then: Callable[[Session, Caller, Any, Values], None] = lambda db, caller, thing, values: None
    #: The page that a new thing belongs to, from the values in the address.
    within: Callable[[Session, Caller, Typed], Crumb | None] = lambda db, caller, from_address: None
    #: The page of a stored thing.
    own: Callable[[Any], str] | None = None
    #: More values that the fields of a stored thing's form depend on.
    about: Callable[[Session, Any], Typed] = lambda db, thing: {}
    #: The view of a stored thing for its form.
    view: Callable[[Any], Any] = lambda thing: thing
    #: Whether only a lead may enter one, and whether only a lead may change one.
    led: tuple[bool, bool] = (False, False)
    cautions: Callable[[], Cautions] = tuple

    def asked(self, typed: Typed) -> list[Field]:
        """Return the fields of a new thing's form."""
        return list(self.fields(typed))

    def changeable(self, typed: Typed, *, by_lead: bool) -> list[Field]:
        """Return the fields of a stored thing's form that the visitor may change."""
        fixed = self.once if by_lead else self.once | self.leads
        return [each for each in self.fields(typed) if each.name not in fixed]


def add(router: APIRouter, entry: Entry) -> None:
    """Add the four routes of a kind of thing."""
    enters, changes = (PostedByLead if led else Posted for led in entry.led)

    def new(visited: Visited) -> Response:
        return _new(entry, visited)

    def create(posted: enters) -> Response:  # type: ignore[valid-type]  # chosen above
        return _create(entry, posted)

    def edit(row_id: Annotated[str, Path(alias=f"{entry.kind}_id")], visited: Visited) -> Response:
        return _edit(entry, row_id, visited)

    def change(
        row_id: Annotated[str, Path(alias=f"{entry.kind}_id")],
        posted: changes,  # type: ignore[valid-type]  # chosen above
    ) -> Response:
        return _change(entry, row_id, posted)

    at = f"/{entry.collection}"
    one = f"{at}/{{{entry.kind}_id}}/edit"
    router.add_api_route(f"{at}/new", new, name=f"new_{entry.kind}", response_model=None)
    router.add_api_route(
        f"{at}/new", create, methods=["POST"], name=f"enter_{entry.kind}", response_model=None
    )
    router.add_api_route(one, edit, name=f"edit_{entry.kind}", response_model=None)
    router.add_api_route(
        one, change, methods=["POST"], name=f"put_right_{entry.kind}", response_model=None
    )


def _new(entry: Entry, visited: Visit) -> Response:
    from_address = {name: visited.request.query_params.get(name, "") for name in entry.from_address}
    with visited.reading() as db:
        _require_given(entry, db, visited.caller, from_address)
        about = {**from_address, SEASON_NOW: visited.season_id}
        typed = {**entry.suggest(db, visited.caller, about), **from_address}
        offered = entry.offers(db, visited.caller, typed)
        crumb = entry.within(db, visited.caller, from_address)
    filled = Filled(forms.offering(entry.asked(typed), offered), typed)
    return _form(entry, visited, filled, from_address, crumb)


def _require_given(entry: Entry, db: Session, caller: Caller, from_address: Typed) -> None:
    """Refuse values in the address that refer to nothing the visitor may see."""
    for name, table in entry.from_address.items():
        if table is not None and (from_address[name] or name not in entry.may_miss):
            resources.get_row(db, caller, table, from_address[name])


def _create(entry: Entry, posted: Post) -> Response:
    typed = posted.typed()
    from_address = {name: typed.get(name, "") for name in entry.from_address}
    filled, values = forms.read(entry.asked(typed), typed)
    values |= {name: value for name, value in from_address.items() if value}

    def work(db: Session, caller: Caller) -> str:
        if filled.faults:
            raise Unready
        facts = entry.prepare(db, caller, values, values) | entry.newly(db, caller, values)
        thing = entry.create(db, caller, sound(entry.create_shape, filled, facts))
        entry.then(db, caller, thing, values)
        return entry.page(thing)

    answer = tried(posted, filled, work)
    if answer is not None:
        return answer
    with posted.visit.reading() as db:
        offered = entry.offers(db, posted.visit.caller, typed)
        crumb = entry.within(db, posted.visit.caller, from_address)
    filled.fields = forms.offering(filled.fields, offered)
    return _form(entry, posted.visit, filled, from_address, crumb)


def _edit(entry: Entry, row_id: str, visited: Visit) -> Response:
    with visited.reading() as db:
        thing = entry.get(db, visited.caller, row_id)
        belongs = _belongs(entry, db, thing)
        fields = entry.changeable(belongs, by_lead=visited.is_lead)
        typed = forms.shown(fields, entry.view(thing))
        offered = entry.offers(db, visited.caller, belongs | typed)
    filled = Filled(forms.offering(fields, offered), typed)
    return _form(entry, visited, filled, {VERSION: str(thing.version)}, _back(entry, thing))


def _change(entry: Entry, row_id: str, posted: Post) -> Response:
    typed = posted.typed()
    with posted.visit.reading() as db:
        thing = entry.get(db, posted.visit.caller, row_id)
        belongs = _belongs(entry, db, thing)
        offered = entry.offers(db, posted.visit.caller, belongs | typed)
    fields = entry.changeable(typed | belongs, by_lead=posted.visit.is_lead)
    filled, values = forms.read(fields, typed)
    moved = forms.moved(fields, entry.view(thing), typed)
    names = [filled.read_as.get(each.name, each.name) for each in moved]
    touched = {name: values.get(name) for name in names}

    def work(db: Session, caller: Caller) -> str:
        if filled.faults:
            raise Unready
        facts = entry.prepare(db, caller, belongs | values, touched)
        shape = sound(entry.change_shape, filled, facts)
        version = forms.whole(typed.get(VERSION, ""))
        return entry.page(entry.change(db, caller, row_id, shape, version))

    answer = tried(posted, filled, work)
    if answer is not None:
        return answer
    filled.fields = forms.offering(fields, offered)
    return _form(entry, posted.visit, filled, {VERSION: str(thing.version)}, _back(entry, thing))


def _belongs(entry: Entry, db: Session, thing: Any) -> dict[str, str]:
    """Return the ids and other values that the fields and choices of a thing depend on."""
    names = (*entry.from_address, "organisation_id")
    ids = {name: str(getattr(thing, name, None) or "") for name in names}
    return {**ids, **entry.about(db, thing)}


def _back(entry: Entry, thing: Any) -> Crumb:
    """Return the link back to a stored thing's page."""
    address = entry.own(thing) if entry.own else f"/{entry.collection}/{thing.id}"
    return address, str(getattr(thing, "name", None) or say("page.back"))


def _form(
    entry: Entry, visited: Visit, filled: Filled, hidden: Typed, crumb: Crumb | None
) -> Response:
    """Show a form; one with a hidden version changes a stored thing."""
    is_new = VERSION not in hidden
    return rendering.show(
        "form.html",
        visited,
        status=422 if filled.is_wrong else 200,
        kind=entry.kind,
        is_new=is_new,
        filled=filled,
        kept=hidden,
        crumb=crumb,
        cautions=(*form_cautions, decides()) if (form_cautions := entry.cautions()) else (),
        may_send=visited.is_lead or (visited.may_write and not entry.led[0 if is_new else 1]),
    )
