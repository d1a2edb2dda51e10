"""Flags over HTTP: the questions of the data checks, and their answers."""

from typing import Annotated

from fastapi import APIRouter, Query
from sqlmodel import Session
from starlette.responses import Response

from api.deps import Read, Write
from api.models.core.pages import Page
from api.models.measurements.flags import (
    FlagAnswerCreate,
    FlagAnswers,
    FlagAnswersCreate,
    FlagQuery,
    FlagRead,
)
from api.routes.contract import LIST, SHOW, WRITE, StrictRoute
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.trials import answers

router = APIRouter(prefix="/flags", tags=["flags"], route_class=StrictRoute)


@router.get("", response_model=Page[FlagRead], responses=LIST)
def list_flags(query: Annotated[FlagQuery, Query()], read: Read) -> Response:
    """List flags, oldest first; those that no longer hold only with `state=cleared`."""
    return read.page(answers.page, query)


@router.post("/answers", response_model=FlagAnswers, responses=WRITE)
def answer_flags(reply: FlagAnswersCreate, write: Write) -> Response:
    """Give one answer to several flags, such as one slip of the unit in all trials of a session.

    All of them or none; a flag that an answer before it settled is left as it is.
    """

    def answer(db: Session, caller: Caller) -> Answered:
        return Answered(200, answers.answer_many(db, caller, reply).model_dump_json())

    return write.run(answer)


@router.get("/{flag_id}", response_model=FlagRead, responses=SHOW)
def get_flag(flag_id: str, read: Read) -> Response:
    """Show a flag."""
    return read.one(answers.get, flag_id)


@router.post("/{flag_id}/answer", response_model=FlagRead, responses=WRITE)
def answer_flag(flag_id: str, reply: FlagAnswerCreate, write: Write) -> Response:
    """Answer a flag: `accept_fix` writes the proposed value, `confirm` keeps the one that stands.

    `withdraw_trial` takes the trial out. Nothing is ever changed without an answer.
    """
    return write.done(answers.answer, flag_id, reply)
