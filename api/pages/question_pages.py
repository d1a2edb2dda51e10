"""Questions of the data checks: listed, narrowed, and answered one after the other."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.models.flags import Flag, FlagAnswerCreate, FlagAnswersCreate, FlagQuery, FlagRead
from api.models.teams import Team
from api.pages import forms, proposals, rendering
from api.pages.catalogue import say
from api.pages.forms import Field, Filled
from api.pages.sending import tried
from api.pages.visits import Posted, Visit, Visited, go_to, local_path
from api.services import answers, flags, pickers
from api.services.scope import Caller, may_see, visible

router = APIRouter()
SHOWN = 50
#: What holds a trial back comes first.
IN_TURN = ("hold", "warn")
ANSWER = (Field("answer", "text", required=True), Field("reason", "text"))
FlagId = Annotated[str, Path()]


def narrowed(query: FlagQuery) -> str:
    """Return what a list of questions is narrowed to, as the end of an address."""
    kept = {name: value for name, value in query.filters().items() if name != "state"}
    return urlencode(kept)


@router.get("/questions")
def questions_page(visited: Visited, query: Annotated[FlagQuery, Query()]) -> Response:
    """Show the open questions, those that hold a trial back first, narrowed as asked."""
    severity = query.severity or "hold"
    asked = query.model_copy(update={"state": "open", "severity": severity, "limit": SHOWN})
    with visited.reading() as db:
        found, after = answers.page(db, visited.caller, asked)
        choices = _choices(db, visited.caller, query)
    others = query.model_copy(update={"severity": "warn", "cursor": None})
    onwards = f"/questions?{narrowed(others)}" if severity == "hold" else ""
    if after:
        onwards = f"/questions?{narrowed(asked)}&{urlencode({'cursor': after})}"
    return rendering.show(
        "questions.html",
        visited,
        flags=found,
        onwards=onwards,
        query=query,
        kept=narrowed(query),
        choices=choices,
        left_out=[say("today.infos_left_out")],
    )


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
def next_question(visited: Visited, query: Annotated[FlagQuery, Query()]) -> Response:
    """Go on to the next open question of a narrowed list, or back to the list at its end."""
    with visited.reading() as db:
        found = _next(db, visited.caller, query)
    kept = narrowed(query)
    if found is None:
        return go_to(f"/questions?{kept}".rstrip("?"))
    return go_to(f"/flags/{found.id}?{kept}".rstrip("?"))


def _next(db: Session, caller: Caller, query: FlagQuery) -> FlagRead | None:
    for severity in [query.severity] if query.severity else IN_TURN:
        asked = query.model_copy(update={"state": "open", "severity": severity, "limit": 1})
        found, _ = answers.page(db, caller, asked)
        if found:
            return found[0]
    return None


@router.get("/flags/{flag_id}")
def flag(flag_id: FlagId, visited: Visited, query: Annotated[FlagQuery, Query()]) -> Response:
    """Show a question with its possible answers, and how many are like it."""
    back = f"/questions/next?{narrowed(query)}".rstrip("?")
    with visited.reading() as db:
        found = answers.get(db, visited.caller, flag_id)
    return _question(visited, found, back)


def _question(visited: Visit, found: FlagRead, back: str, wrong: Filled | None = None) -> Response:
    with visited.reading() as db:
        alike = answers.like(db, visited.caller, found.id)
        proposed = proposals.buttons(db, alike)
    return rendering.show(
        "flag.html", visited, status=422 if wrong and wrong.is_wrong else 200, flag=found,
        wrong=wrong, back=back, alike=alike, proposed=proposed,
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
        return local_path(posted.text("back"), onwards)

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
        return local_path(posted.text("back"), "/questions/next")

    back = local_path(posted.text("back"), "/questions/next")
    return tried(posted, filled, work) or _question(visit, found, back, filled)
