"""Trials over HTTP."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request
from sqlmodel import Session
from starlette.responses import Response

from api.bodies import SERIES_BYTES
from api.deps import Change, Read, Write, database
from api.deps.trials_together import Submit
from api.errors import UnsupportedMedia
from api.messages import say
from api.models.core.pages import Page
from api.models.trials.budget import UncertaintyBudget
from api.models.trials.trial_queries import TrialQuery
from api.models.trials.trials import (
    Confirmation,
    Correction,
    Reinstatement,
    TrialCreate,
    TrialRead,
    TrialUpdate,
    Withdrawal,
)
from api.routes.contract import CHANGE, READ, SHOW, WRITE, StrictRoute, private_json
from api.routes.files import (
    BYTES,
    CSV,
    FORM,
    IN_A_FORM,
    TABS,
    body_of,
    file_in_form,
    identified_by_file,
    media_type,
)
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.trials import budgets, corrections, series, stored_trials, trials

STORED_BEFORE: dict[int | str, dict[str, Any]] = {
    200: {"model": TrialRead, "description": "Stored before, with the same numbers."}
}

router = APIRouter(prefix="/trials", tags=["trials"], route_class=StrictRoute)


@router.post(
    "",
    status_code=201,
    response_model=TrialRead,
    responses=WRITE | STORED_BEFORE,
    max_body_size=SERIES_BYTES,
)
async def submit_trial(trial: TrialCreate, submit: Submit) -> Response:
    """Submit one trial; the answer carries its result and what the data checks found.

    A load resistor near its rated power is hot, and a spinning rotor is stopped by switching the
    fan off, never by hand; the school's own risk assessment decides.
    """
    return await submit.stored(trial)


@router.get("", response_model=Page[TrialRead], responses=SHOW)
async def list_trials(query: Annotated[TrialQuery, Query()], read: Read) -> Response:
    """List trials that the key may see with their results, oldest first."""
    return await read.quick_page(stored_trials.page, query)


@router.get("/{trial_id}", response_model=TrialRead, responses=SHOW)
def get_trial(trial_id: str, read: Read) -> Response:
    """Show a trial with its result."""
    return read.one(stored_trials.get, trial_id)


@router.get("/{trial_id}/uncertainty", response_model=UncertaintyBudget, responses=READ)
def get_trial_uncertainty(trial_id: str, request: Request, read: Read) -> Response:
    """Show what a trial's power is uncertain by, term by term, and what would reduce it."""
    with database(request).reading() as db:
        budget = budgets.budget_of(db, read.caller, trial_id)
    return private_json(budget)


@router.post(
    "/{trial_id}/corrections",
    status_code=201,
    response_model=TrialRead,
    responses=WRITE,
    max_body_size=SERIES_BYTES,
)
def correct_trial(trial_id: str, correction: Correction, write: Write) -> Response:
    """Correct facts of a trial, with the reason; the old values stay in its history.

    `runs`, if given, replace all of its runs. Sent again from the original file, the trial stays
    as corrected.
    """

    def correct(db: Session, caller: Caller) -> Answered:
        answer = corrections.correct(db, caller, trial_id, correction)
        return write.stored(answer, 201, f"/v1/trials/{answer.id}")

    return write.run(correct)


SERIES_EXAMPLE = "time_s,voltage_v\n0.0,1.20\n0.5,1.21\n1.0,1.19\n"


async def read_series(request: Request) -> bytes:
    """Return a logger's file, sent as it is or in a form; only text is taken."""
    kind = media_type(request)
    if kind == FORM:
        return await file_in_form(request)
    if kind in (CSV, TABS, "text/plain"):
        return await request.body()
    raise UnsupportedMedia(say("refused.not_series"))


@router.post(
    "/{trial_id}/runs/{run_number}/series",
    response_model=TrialRead,
    responses=WRITE,
    max_body_size=SERIES_BYTES,
    openapi_extra=body_of({CSV: {"schema": BYTES, "example": SERIES_EXAMPLE}, **IN_A_FORM}),
)
def attach_series(
    trial_id: str,
    run_number: Annotated[int, Path(ge=1, le=50)],
    body: Annotated[bytes, Depends(read_series)],
    write: Write,
) -> Response:
    """Attach a logger's file of time and voltage to a run: its power is then the mean of squares.

    The columns are time_s and voltage_v, at equal steps; whether the voltage had settled is
    checked. The reading it replaces stays in the trial's history.
    """

    def attach(db: Session, caller: Caller) -> Answered:
        answer = series.attach(db, caller, trial_id, run_number, body)
        return write.stored(answer, 200, f"/v1/trials/{answer.id}")

    return identified_by_file(write, body).run(attach)


@router.post("/{trial_id}/withdraw", response_model=TrialRead, responses=WRITE)
def withdraw_trial(trial_id: str, withdrawal: Withdrawal, write: Write) -> Response:
    """Take a trial out of everything that is computed, with the reason; it stays readable."""
    return write.done(corrections.withdraw, trial_id, withdrawal)


@router.post("/{trial_id}/confirm", response_model=TrialRead, responses=WRITE)
def confirm_trial(trial_id: str, given: Confirmation, write: Write) -> Response:
    """Confirm a trial that the season's comparison leaves out as odd, with the reason."""
    return write.done(corrections.confirm, trial_id, given)


@router.post("/{trial_id}/reinstate", response_model=TrialRead, responses=WRITE)
def reinstate_trial(trial_id: str, reinstatement: Reinstatement, write: Write) -> Response:
    """Let a withdrawn trial count again, with the reason; its history keeps both."""
    return write.done(corrections.reinstate, trial_id, reinstatement)


@router.patch("/{trial_id}", response_model=TrialRead, responses=CHANGE)
def change_trial(trial_id: str, changes: TrialUpdate, write: Change) -> Response:
    """Change a trial's note; measured values are never overwritten."""
    return write.changed(trials.change, trial_id, changes)
