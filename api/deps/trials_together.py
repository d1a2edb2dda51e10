"""Submit single trials; those that wait for a turn together share one transaction."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, FastAPI
from sqlmodel import Session
from starlette.responses import Response

from api.concurrency import WriteBatcher
from api.deps.programme import turns
from api.deps.writing import Writing, prepare, run_together
from api.errors import ApiError
from api.models.trials.trials import TrialCreate, TrialRead
from api.services.access.idempotency import Answered
from api.services.trials import trials


@dataclass(frozen=True, slots=True)
class _Submission:
    """A trial with its request."""

    trial: TrialCreate
    writing: Writing


#: Stores trials together that arrived one by one.
Submissions = WriteBatcher[_Submission, Response]


def submissions_of(app: FastAPI) -> Submissions:
    """Return the batcher that stores trials together that wait for a turn at the same time.

    It is made at the first trial, so that a service starts without the modules that store trials.
    """
    if app.state.submissions is None:
        app.state.submissions = WriteBatcher(app.state.writers, _store, _fit)
    submissions: Submissions = app.state.submissions
    return submissions


def _fit(one: _Submission, other: _Submission) -> bool:
    return one.writing.goes_with(other.writing)


def _store(submissions: Sequence[_Submission]) -> list[Response | Exception]:
    """Store trials in one transaction, and answer each."""

    def work(db: Session, places: Sequence[int]) -> list[Answered | ApiError]:
        wanted = [submissions[at] for at in places]
        outcomes = trials.submit_each(db, [(each.writing.caller, each.trial) for each in wanted])
        return [_answered(*pair) for pair in zip(wanted, outcomes, strict=True)]

    return run_together([each.writing for each in submissions], work)


def _answered(
    submission: _Submission, outcome: tuple[TrialRead, bool] | ApiError
) -> Answered | ApiError:
    if isinstance(outcome, ApiError):
        return outcome
    stored, is_new = outcome
    return submission.writing.stored(stored, 201 if is_new else 200)


@dataclass(frozen=True, slots=True)
class Submitting:
    """A request that submits one trial."""

    writing: Writing

    async def stored(self, trial: TrialCreate) -> Response:
        """Store a trial, together with other waiting ones, and answer it."""
        request = self.writing.request
        own_turn = turns(request).writing(self.writing.caller)
        submission = _Submission(trial, self.writing)
        return await submissions_of(request.app).done(submission, own_turn)


async def submit(writing: Annotated[Writing, Depends(prepare)]) -> Submitting:
    """Let a coach or lead submit a trial."""
    return Submitting(writing)


Submit = Annotated[Submitting, Depends(submit)]
