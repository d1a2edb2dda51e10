"""Trials over HTTP."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlmodel import Session
from starlette.responses import Response

from api.deps import Change, Read, Write
from api.models.pages import Page
from api.models.trials import (
    Correction,
    TrialCreate,
    TrialQuery,
    TrialRead,
    TrialUpdate,
    Withdrawal,
)
from api.routes.contract import CHANGE, LIST, READ, WRITE, StrictRoute
from api.services import corrections, trials
from api.services.idempotency import Answered
from api.services.scope import Caller

STORED_BEFORE: dict[int | str, dict[str, Any]] = {
    200: {"model": TrialRead, "description": "Stored before, with the same numbers."}
}

router = APIRouter(prefix="/trials", tags=["trials"], route_class=StrictRoute)


@router.post(
    "",
    status_code=201,
    response_model=TrialRead,
    responses=WRITE | STORED_BEFORE,
)
def submit_trial(trial: TrialCreate, write: Write) -> Response:
    """Submit one trial; the answer carries its result and what the data checks found.

    A load resistor near its rated power is hot, and a spinning rotor is stopped by switching the
    fan off, never by hand; the school's own risk assessment decides.
    """

    def submit(db: Session, caller: Caller) -> Answered:
        answer, is_new = trials.submit_one(db, caller, trial)
        return write.stored(answer, 201 if is_new else 200)

    return write.run(submit)


@router.get("", response_model=Page[TrialRead], responses=LIST)
def list_trials(query: Annotated[TrialQuery, Query()], read: Read) -> Response:
    """List trials that the key may see with their results, oldest first."""
    return read.page(trials.page, query)


@router.get("/{trial_id}", response_model=TrialRead, responses=READ)
def get_trial(trial_id: str, read: Read) -> Response:
    """Show a trial with its result."""
    return read.one(trials.get, trial_id)


@router.post("/{trial_id}/corrections", status_code=201, response_model=TrialRead, responses=WRITE)
def correct_trial(trial_id: str, correction: Correction, write: Write) -> Response:
    """Put facts of a trial right, with the reason; the old values stay in its history.

    `runs`, if given, replace all of its runs. Sent again from the original file, the trial stays
    as corrected.
    """

    def correct(db: Session, caller: Caller) -> Answered:
        answer = corrections.correct(db, caller, trial_id, correction)
        return write.stored(answer, 201, f"/v1/trials/{answer.id}")

    return write.run(correct)


@router.post("/{trial_id}/withdraw", response_model=TrialRead, responses=WRITE)
def withdraw_trial(trial_id: str, withdrawal: Withdrawal, write: Write) -> Response:
    """Take a trial out of everything that is computed, with the reason; it stays readable."""
    return write.done(corrections.withdraw, trial_id, withdrawal)


@router.patch("/{trial_id}", response_model=TrialRead, responses=CHANGE)
def change_trial(trial_id: str, changes: TrialUpdate, write: Change) -> Response:
    """Change a trial's note; measured values are never overwritten."""
    return write.changed(trials.change, trial_id, changes)
