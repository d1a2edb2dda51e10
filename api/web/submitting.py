"""Store a filled form, or show it again with its faults."""

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


#: The fields that identify a thing: a fault about duplicates is shown there.
NAMES = ("name", "tag", "started_at")


def taken(field: str) -> Conflict:
    """Return the refusal of a value in a field that another thing already has."""
    words = say("form.taken")
    return Conflict(words, [FieldError("taken", words, pointer=f"/{field}")])


class Unready(Exception):
    """A form that has to be corrected first; its faults are shown at its fields."""


def sound(shape: type[Shape], filled: Filled, values: Mapping[str, Any]) -> Shape:
    """Return the shape made from a form's values, or raise `Unready`."""
    valid = forms.shaped(shape, filled, values)
    if valid is None:
        raise Unready
    return valid


def tried(
    posted: Post,
    filled: Filled,
    work: Callable[[Session, Caller], str],
    apart_from: frozenset[str] = frozenset(),
) -> Response | None:
    """Do the work once and redirect; if it is refused, show the faults at their fields.

    Return None if the form has faults. Errors for missing things or permissions are raised.
    """
    try:
        return posted.once(work, apart_from)
    except Unready:
        return None
    except (NotFound, NotPermitted):
        raise
    except ApiError as refusal:
        filled.blame(refusal)
    except IntegrityError:  # also if two visitors enter the same name at once
        name_field = next((each.name for each in filled.fields if each.name in NAMES), "")
        filled.blame(taken(name_field))
    return None
