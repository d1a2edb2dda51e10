"""Questions of the data checks: listed, narrowed, and answered one after the other."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query
from pydantic import Field as Parameter
from pydantic import field_validator
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.messages import say
from api.models.measurements.flags import (
    Flag,
    FlagAnswerCreate,
    FlagAnswersCreate,
    FlagQuery,
    FlagRead,
    Severity,
)
from api.models.registry.teams import Team
from api.services.core.scope import Caller, may_see, visible
from api.services.measurements import flags
from api.services.registry import pickers
from api.services.trials import answers
from api.web import forms, rendering
from api.web.forms import Field, Filled
from api.web.submitting import tried
from api.web.views import proposals
from api.web.visitors import Posted, Visit, Visited, go_to, local_path

router = APIRouter()
SHOWN = 50
#: What needs an answer; what only looks odd is listed when asked for.
NEEDS_ANSWER: Severity = "hold"
ANSWER = (Field("answer", "text", required=True), Field("reason", "text"))
FlagId = Annotated[str, Path()]


class Narrowing(FlagQuery):
    """What a form narrows the questions to, and which one was answered last."""

    answered: Annotated[str | None, Parameter(max_length=60)] = None

    @field_validator("*", mode="before")
    @classmethod
    def nothing_chosen(cls, value: Any) -> Any:
        """Read a choice that was left at `All`."""
        return None if value == "" else value


def narrowed(query: FlagQuery, **more: str | None) -> str:
    """Return what a list of questions is narrowed to, as the end of an address."""
    apart = ("state", "answered")
    kept = {name: value for name, value in query.filters().items() if name not in apart}
    return urlencode(kept | {name: value for name, value in more.items() if value})


@router.get("/questions")
def questions_page(visited: Visited, query: Annotated[Narrowing, Query()]) -> Response:
    """Show the open questions that hold something back, or what looks odd, narrowed as asked."""
    asked = _asked(query, SHOWN)
    odd = _asked(query.model_copy(update={"severity": "warn", "cursor": None}), 1)
    with visited.reading() as db:
        found, after = answers.page(db, visited.caller, asked)
        message = _answered_message(db, visited.caller, query)
        has_odd = query.severity is None and bool(answers.page(db, visited.caller, odd)[0])
        choices = _choices(db, visited.caller, query)
    onwards = f"/questions?{narrowed(asked)}&{urlencode({'cursor': after})}" if after else ""
    return rendering.show(
        "questions.html",
        visited,
        flags=found,
        message=message,
        onwards=onwards,
        odd=f"/questions?{narrowed(odd)}" if has_odd else "",
        query=query,
        kept=narrowed(query),
        choices=choices,
        left_out=[say("today.infos_left_out")],
    )


def _asked(query: FlagQuery, limit: int) -> FlagQuery:
    """Return the query for the service: what was chosen, and only what is open."""
    severity = query.severity or NEEDS_ANSWER
    chosen = {name: getattr(query, name) for name in FlagQuery.model_fields}
    return FlagQuery(**chosen | {"state": "open", "severity": severity, "limit": limit})


def _choices(db: Session, caller: Caller, query: FlagQuery) -> dict[str, list[tuple[str, str]]]:
    """Return what the list may be narrowed to."""
    teams = visible(caller, Team).order_by(col(Team.name)).limit(pickers.MOST)
    if query.season_id:
        teams = teams.where(col(Team.season_id) == query.season_id)
    if query.organisation_id:
        teams = teams.where(col(Team.organisation_id) == query.organisation_id)
    rules = select(Flag.rule).where(may_see(caller, Flag), col(Flag.state) == flags.OPEN,
                                    col(Flag.severity) != "info")  # fmt: skip
    kinds = sorted(db.scalars(rules.distinct()))
    return {
        "organisation_id": pickers.organisations(db, caller),
        "team_id": [(team.id, team.name) for team in db.scalars(teams)],
        "season_id": pickers.seasons(db, caller),
        "rule": [(rule, say(f"rule.{rule}")) for rule in kinds],
    }


@router.get("/questions/next")
def next_question(visited: Visited, query: Annotated[Narrowing, Query()]) -> Response:
    """Go on to the next open question of a narrowed list, or back to the list at its end."""
    with visited.reading() as db:
        found, _ = answers.page(db, visited.caller, _asked(query, 1))
    kept = narrowed(query, answered=query.answered)
    if not found:
        return go_to(f"/questions?{kept}".rstrip("?"))
    return go_to(f"/flags/{found[0].id}?{kept}".rstrip("?"))


@router.get("/flags/{flag_id}")
def flag(flag_id: FlagId, visited: Visited, query: Annotated[Narrowing, Query()]) -> Response:
    """Show a question with its possible answers, and how many are like it."""
    back = f"/questions/next?{narrowed(query)}".rstrip("?")
    with visited.reading() as db:
        found = answers.get(db, visited.caller, flag_id)
        message = _answered_message(db, visited.caller, query)
    return _question(visited, found, back, message=message)


def _answered_message(db: Session, caller: Caller, query: Narrowing) -> str:
    """Return what became of the question that was answered last."""
    if query.answered is None:
        return ""
    last = answers.get(db, caller, query.answered)
    if last.state == flags.OPEN:
        return say("questions.still_open", about=last.about)
    return say("questions.answered", about=last.about, state=say(f"flag_state.{last.state}"))


def _and_say(address: str, flag_id: str) -> str:
    """Return the address of the next question, which says that one was answered."""
    if not address.startswith("/questions"):
        return address
    return f"{address}{'&' if '?' in address else '?'}answered={flag_id}"


def _question(
    visited: Visit, found: FlagRead, back: str, wrong: Filled | None = None, message: str = ""
) -> Response:
    with visited.reading() as db:
        alike = answers.like(db, visited.caller, found.id)
        proposed = proposals.buttons(db, alike)
    return rendering.show(
        "flag.html", visited, status=422 if wrong and wrong.is_wrong else 200, flag=found,
        wrong=wrong, back=back, alike=alike, proposed=proposed, message=message,
    )  # fmt: skip


@router.post("/flags/{flag_id}/answer")
def answer(flag_id: FlagId, posted: Posted) -> Response:
    """Answer a question: accept the proposal, keep the value, or withdraw the trial."""
    with posted.visit.reading() as db:
        found = answers.get(db, posted.visit.caller, flag_id)
    filled, values = forms.read(ANSWER, posted.typed())
    given = forms.shaped(FlagAnswerCreate, filled, values)

    def work(db: Session, caller: Caller) -> str:
        answered = answers.answer(db, caller, flag_id, given) if given else found
        onwards = f"/trials/{answered.trial_id}" if answered.trial_id else "/today"
        return _and_say(local_path(posted.text("back"), onwards), flag_id)

    done = tried(posted, filled, work) if given else None
    back = local_path(posted.text("back"), "/questions/next")
    return done or _question(posted.visit, found, back, filled)


@router.post("/flags/{flag_id}/answer-all")
def answer_all(flag_id: FlagId, posted: Posted) -> Response:
    """Accept what is proposed for a question and for all that one slip of a session raised."""
    visit = posted.visit
    with visit.reading() as db:
        found = answers.get(db, visit.caller, flag_id)
    filled = Filled(ANSWER)

    def work(db: Session, caller: Caller) -> str:
        ids = [each.id for each in answers.like(db, caller, flag_id)]
        given: dict[str, Any] = {"answer": "accept_fix", "flag_ids": ids}
        answers.answer_many(db, caller, FlagAnswersCreate.model_validate(given))
        return _and_say(local_path(posted.text("back"), "/questions/next"), flag_id)

    back = local_path(posted.text("back"), "/questions/next")
    return tried(posted, filled, work) or _question(visit, found, back, filled)
