"""Pages of questions: list and filter them, and answer them one by one."""

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
from api.services.trials.question_groups import grouped
from api.web import forms, rendering
from api.web.forms import Field, Filled
from api.web.submitting import tried
from api.web.views import proposals
from api.web.visitors import Posted, Visit, Visited, go_to, local_path

router = APIRouter()
SHOWN = 50
#: Questions that need an answer; warnings are listed only on request.
NEEDS_ANSWER: Severity = "hold"
ANSWER = (Field("answer", "text", required=True), Field("reason", "text"))
FlagId = Annotated[str, Path()]


class Narrowing(FlagQuery):
    """The filters of the list of questions, and the last answered one."""

    answered: Annotated[str | None, Parameter(max_length=60)] = None

    @field_validator("*", mode="before")
    @classmethod
    def nothing_chosen(cls, value: Any) -> Any:
        """Read the choice `All` as no filter."""
        return None if value == "" else value


def narrowed(query: FlagQuery, **more: str | None) -> str:
    """Return the filters of a list of questions as a query string."""
    left_out = ("state", "answered")
    filters = {name: value for name, value in query.filters().items() if name not in left_out}
    return urlencode(filters | {name: value for name, value in more.items() if value})


@router.get("/questions")
def questions_page(visited: Visited, query: Annotated[Narrowing, Query()]) -> Response:
    """Show the open questions that hold trials, or the warnings, with the chosen filters."""
    asked = _asked(query, SHOWN)
    odd = _asked(query.model_copy(update={"severity": "warn", "cursor": None}), 1)
    with visited.reading() as db:
        page_of_flags, rest = answers.page(db, visited.caller, asked)
        groups = grouped(db, page_of_flags)
        message = _answered_message(db, visited.caller, query)
        has_odd = query.severity is None and bool(answers.page(db, visited.caller, odd)[0])
        choices = _choices(db, visited.caller, query)
    more = urlencode({"cursor": rest.cursor}) if rest.cursor else ""
    onwards = f"/questions?{narrowed(asked)}&{more}" if more else ""
    return rendering.show(
        "questions.html",
        visited,
        groups=groups,
        message=message,
        onwards=onwards,
        odd=f"/questions?{narrowed(odd)}" if has_odd else "",
        query=query,
        kept=narrowed(query),
        choices=choices,
        left_out=[say("today.infos_left_out")],
    )


def _asked(query: FlagQuery, limit: int) -> FlagQuery:
    """Return the query for the service: the chosen filters, and only open flags."""
    severity = query.severity or NEEDS_ANSWER
    chosen = {name: getattr(query, name) for name in FlagQuery.model_fields}
    return FlagQuery(**chosen | {"state": "open", "severity": severity, "limit": limit})


def _choices(db: Session, caller: Caller, query: FlagQuery) -> dict[str, list[tuple[str, str]]]:
    """Return the choices of the filters."""
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
    """Redirect to the next open question of a filtered list, or to the list at its end."""
    with visited.reading() as db:
        open_flags, _ = answers.page(db, visited.caller, _asked(query, 1))
    filters = narrowed(query, answered=query.answered)
    if not open_flags:
        return go_to(f"/questions?{filters}".rstrip("?"))
    return go_to(f"/flags/{open_flags[0].id}?{filters}".rstrip("?"))


@router.get("/flags/{flag_id}")
def flag(flag_id: FlagId, visited: Visited, query: Annotated[Narrowing, Query()]) -> Response:
    """Show a question with its possible answers, and the number of similar ones."""
    back = f"/questions/next?{narrowed(query)}".rstrip("?")
    with visited.reading() as db:
        shown_flag = answers.get(db, visited.caller, flag_id)
        message = _answered_message(db, visited.caller, query)
    return _question(visited, shown_flag, back, message=message)


def _answered_message(db: Session, caller: Caller, query: Narrowing) -> str:
    """Return a sentence on the question that was answered last."""
    if query.answered is None:
        return ""
    last = answers.get(db, caller, query.answered)
    if last.state == flags.OPEN:
        return say("questions.still_open", about=last.about)
    return say("questions.answered", about=last.about, state=say(f"flag_state.{last.state}"))


def _and_say(address: str, flag_id: str) -> str:
    """Return the address of the next question, with the id of the answered one."""
    if not address.startswith("/questions"):
        return address
    return f"{address}{'&' if '?' in address else '?'}answered={flag_id}"


def _question(
    visited: Visit, shown_flag: FlagRead, back: str, wrong: Filled | None = None, message: str = ""
) -> Response:
    with visited.reading() as db:
        alike = answers.like(db, visited.caller, shown_flag.id)
        proposed = proposals.buttons(db, alike)
    return rendering.show(
        "flag.html", visited, status=422 if wrong and wrong.is_wrong else 200, flag=shown_flag,
        wrong=wrong, back=back, alike=alike, proposed=proposed, message=message,
    )  # fmt: skip


@router.post("/flags/{flag_id}/answer")
def answer(flag_id: FlagId, posted: Posted) -> Response:
    """Answer a question: accept the proposal, keep the value, or withdraw the trial."""
    with posted.visit.reading() as db:
        stored_flag = answers.get(db, posted.visit.caller, flag_id)
    filled, values = forms.read(ANSWER, posted.typed())
    reply = forms.shaped(FlagAnswerCreate, filled, values)

    def work(db: Session, caller: Caller) -> str:
        answered = answers.answer(db, caller, flag_id, reply) if reply else stored_flag
        onwards = f"/trials/{answered.trial_id}" if answered.trial_id else "/today"
        return _and_say(local_path(posted.text("back"), onwards), flag_id)

    response = tried(posted, filled, work) if reply else None
    back = local_path(posted.text("back"), "/questions/next")
    return response or _question(posted.visit, stored_flag, back, filled)


@router.post("/flags/{flag_id}/answer-all")
def answer_all(flag_id: FlagId, posted: Posted) -> Response:
    """Accept the proposals of a question and of all similar ones in its session."""
    visit = posted.visit
    with visit.reading() as db:
        stored_flag = answers.get(db, visit.caller, flag_id)
    filled = Filled(ANSWER)

    def work(db: Session, caller: Caller) -> str:
        ids = [each.id for each in answers.like(db, caller, flag_id)]
        reply: dict[str, Any] = {"answer": "accept_fix", "flag_ids": ids}
        answers.answer_many(db, caller, FlagAnswersCreate.model_validate(reply))
        return _and_say(local_path(posted.text("back"), "/questions/next"), flag_id)

    back = local_path(posted.text("back"), "/questions/next")
    return tried(posted, filled, work) or _question(visit, stored_flag, back, filled)
