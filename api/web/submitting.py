"""From a filled form to what is stored, or back to the form with what was refused."""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session
from starlette.responses import Response

from api.errors import ApiError, Conflict, FieldError, NotFound, NotPermitted
from api.messages import say
from api.models.core.shapes import Input
from api.services.core.scope import Caller
from api.web import forms
from api.web.forms import Filled
from api.web.visitors import Post

Shape = TypeVar("Shape", bound=Input)


#: What a thing is known by: what is stored twice stands there.
NAMES = ("name", "tag", "started_at")


def taken(field: str) -> Conflict:
    """Return the refusal of a thing that is stored already under what was typed into a field."""
    words = say("form.taken")
    return Conflict(words, [FieldError("taken", words, pointer=f"/{field}")])


class Unready(Exception):
    """A form that has to be corrected first; its faults are shown beside its fields."""


def sound(shape: type[Shape], filled: Filled, values: Mapping[str, Any]) -> Shape:
    """Return the shape that a form's values make, or leave the work undone."""
    made = forms.shaped(shape, filled, values)
    if made is None:
        raise Unready
    return made


def tried(
    posted: Post,
    filled: Filled,
    work: Callable[[Session, Caller], str],
    apart_from: frozenset[str] = frozenset(),
) -> Response | None:
    """Do the work once and go on; where it is refused, put the reasons beside the fields.

    What is not there, or not this visitor's to do, is no fault of the form.
    """
    try:
        return posted.once(work, apart_from)
    except Unready:
        return None
    except (NotFound, NotPermitted):
        raise
    except ApiError as refusal:
        filled.blame(refusal)
    except IntegrityError:  # of two who enter the same name at once, too
        named = next((each.name for each in filled.fields if each.name in NAMES), "")
        filled.blame(taken(named))
    return None
