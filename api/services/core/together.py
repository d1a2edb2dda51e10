"""Store several things of one kind in one transaction: all of them, or none."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from api.errors import ApiError, FieldError, Invalid, from_foreign
from api.messages import say
from api.models.core.shapes import Answer
from api.models.core.validation import explain
from api.services.core.scope import Caller

Stored = TypeVar("Stored", bound=Answer)
Verb = Callable[[Session, Caller, Any], Stored]


def store_together(
    db: Session, caller: Caller, verb: Verb[Stored], items: Sequence[Any]
) -> list[Stored]:
    """Store things in their order and return them.

    Raise one refusal with the faults of all items, each with its place such as `/items/3/name`, if
    any of them is refused.
    """
    stored: list[Stored] = []
    refusals: dict[int, ApiError] = {}
    for at, item in enumerate(items):
        try:
            with db.begin_nested():  # so that the items after a refused one are still looked at
                stored.append(verb(db, caller, item))
        except (ApiError, IntegrityError) as error:
            refusals[at] = from_foreign(error, explain)
    if refusals:
        raise _refusal(refusals, len(items))
    return stored


def _refusal(refusals: Mapping[int, ApiError], count: int) -> ApiError:
    """Return one refusal for those of several items: of their kind if they share one."""
    kinds = {type(each) for each in refusals.values()}
    kind = kinds.pop() if len(kinds) == 1 else Invalid
    errors = [placed for at, each in refusals.items() for placed in _placed(at, each)]
    words = say("refused.batch", refused=len(refusals), count=count, first=errors[0].detail)
    return kind(words, errors)


def _placed(at: int, refusal: ApiError) -> list[FieldError]:
    """Return the faults of one item with its place in the request."""
    place = f"/items/{at}"
    if not refusal.errors:
        return [FieldError(refusal.slug.replace("-", "_"), str(refusal), pointer=place)]
    return [replace(each, pointer=place + (each.pointer or "")) for each in refusal.errors]
