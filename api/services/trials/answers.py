"""Answer a flag: accept its proposal, confirm the value, or withdraw the trial."""

from collections.abc import Collection, Sequence
from datetime import UTC, datetime
from typing import Any

from pydantic import ValidationError
from sqlalchemy import ColumnElement, or_, select
from sqlmodel import Session, col

from api.errors import Conflict
from api.messages import days, say, using
from api.messages.languages import DEFAULT
from api.models.core.validation import invalid
from api.models.measurements.flags import (
    Flag,
    FlagAnswerCreate,
    FlagAnswers,
    FlagAnswersCreate,
    FlagQuery,
    FlagRead,
)
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession, SessionUpdate
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import RunCreate, Trial, TrialChanges
from api.services.core import audit, pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_lead_where_official, require_owner, visible
from api.services.measurements import flags, rechecks
from api.services.measurements.flag_words import words_of
from api.services.registry import sessions
from api.services.trials import corrections, trials

MOST_LIKE = 100
VOLTS, WINDS = ("voltage_v", "series_voltage_v"), ("wind_speed_m_s",)
#: The kinds of proposal: new values, or a factor for readings of the runs.
PROPOSED = ("changes", "scale_volts", "scale_wind")


def page(db: Session, caller: Caller, query: FlagQuery) -> tuple[list[FlagRead], Rest]:
    """Return a page of flags; cleared ones only if the query asks for that state."""
    conditions = [] if query.state else [flags.not_cleared]
    if query.team_id:
        conditions.append(_of_team(query.team_id))
    rows, after = pages.page(db, caller, Flag, query, *conditions)
    return _reads(db, rows), after


def _of_team(team_id: str) -> ColumnElement[bool]:
    """Return the condition on flags of a team's trials and of their sessions."""
    own = rechecks.of_team(team_id)
    return or_(
        col(Flag.trial_id).in_(select(col(Trial.id)).where(own)),
        col(Flag.session_id).in_(select(col(Trial.session_id)).where(own)),
    )


def get(db: Session, caller: Caller, flag_id: str) -> FlagRead:
    """Return a flag."""
    return _reads(db, [resources.get_row(db, caller, Flag, flag_id)])[0]


def _reads(db: Session, rows: Sequence[Flag]) -> list[FlagRead]:
    """Return flags, each with words for its trial or session."""
    of_trials = {row.trial_id for row in rows if row.trial_id}
    of_sessions = {row.session_id for row in rows if row.session_id}
    words = _trials_in_words(db, of_trials) | sessions_in_words(db, of_sessions)
    return [
        resources.read(
            FlagRead,
            row,
            about=words.get(str(row.trial_id or row.session_id), ""),
            **words_of(row.rule, row.severity, row.facts),
        )
        for row in rows
    ]


def _trials_in_words(db: Session, trial_ids: Collection[str]) -> dict[str, str]:
    query = (
        select(
            col(Trial.id),
            col(Trial.client_ref),
            col(Build.number),
            col(Team.name),
            col(BenchSession.started_at),
        )
        .join(Build, col(Build.id) == col(Trial.build_id))
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .outerjoin(Team, col(Team.id) == col(Turbine.team_id))
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(col(Trial.id).in_(trial_ids))
    )
    return {
        trial_id: say(
            "flag_about.named_trial" if ref else "flag_about.trial",
            team=team or say("equipment_kind.reference_rotor"),
            number=number,
            day=days.day(at),
            name=ref,
        )
        for trial_id, ref, number, team, at in db.execute(query)
    }


def sessions_in_words(db: Session, session_ids: Collection[str]) -> dict[str, str]:
    """Return each session by its bench and day, in words."""
    query = (
        select(col(BenchSession.id), col(Bench.name), col(BenchSession.started_at))
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .where(col(BenchSession.id).in_(session_ids))
    )
    return {
        session_id: say("flag_about.session", bench=bench, day=days.day(at))
        for session_id, bench, at in db.execute(query)
    }


def answer(db: Session, caller: Caller, flag_id: str, reply: FlagAnswerCreate) -> FlagRead:
    """Answer a flag; a trial that it held counts again, unless another flag holds it."""
    flag = resources.get_row(db, caller, Flag, flag_id)
    require_owner(caller, flag.organisation_id)
    require_lead_where_official(db, caller, _about(flag), "refused.official_trial")
    revisions.raise_season(db, flag.season_id)
    resources.lock(db, flag)
    if flag.state != flags.OPEN:
        raise Conflict(say(f"refused.flag_{flag.state}"))
    states = {"accept_fix": "corrected", "confirm": "confirmed", "withdraw_trial": "withdrawn"}
    flag.state = states[reply.answer]
    flag.reason = reply.reason
    flag.answered_by, flag.answered_at = caller.label, datetime.now(UTC).replace(microsecond=0)
    flag.version += 1
    db.flush()
    changes = {"rule": [flag.rule, flag.rule], "state": [flags.OPEN, flag.state]}
    audit.note(db, caller, "answered", flag, changes, reply.reason)
    _act(db, caller, flag, reply)
    return _reads(db, [flag])[0]


def answer_many(db: Session, caller: Caller, reply: FlagAnswersCreate) -> FlagAnswers:
    """Give one answer to several flags; skip one that an earlier answer of them closed."""
    asked = [resources.get_row(db, caller, Flag, each) for each in dict.fromkeys(reply.flag_ids)]
    closed = [flag for flag in asked if flag.state != flags.OPEN]
    if closed:
        raise Conflict(say("refused.flags_closed", count=len(closed)))
    single = FlagAnswerCreate(answer=reply.answer, reason=reply.reason)
    for flag in asked:
        db.refresh(flag)
        if flag.state == flags.OPEN:
            answer(db, caller, flag.id, single)
    return FlagAnswers(items=_reads(db, asked))


def like(db: Session, caller: Caller, flag_id: str) -> list[FlagRead]:
    """Return the open flags that probably have the same cause: this one and similar ones.

    They have the same rule, belong to trials of the same session, and propose the same kind of
    value.
    """
    flag = resources.get_row(db, caller, Flag, flag_id)
    if flag.trial_id is None or flag.state != flags.OPEN or not flag.proposed_fix:
        return _reads(db, [flag])
    session_id = db.get_one(Trial, flag.trial_id).session_id
    in_session = select(col(Trial.id)).where(col(Trial.session_id) == session_id)
    similar = visible(caller, Flag).where(
        col(Flag.trial_id).in_(in_session),
        col(Flag.rule) == flag.rule,
        col(Flag.state) == flags.OPEN,
    )
    rows = db.scalars(similar.order_by(col(Flag.id)).limit(MOST_LIKE))
    return _reads(db, [row for row in rows if _kind_of(row) == _kind_of(flag)])


def _kind_of(flag: Flag) -> tuple[Any, ...]:
    """Return the parts of a proposal that are equal for flags with the same cause."""
    fix = flag.proposed_fix or {}
    return fix.get("thing"), sorted(fix.get("changes", ())), fix.get("scale_volts"), "run" in fix


def _accepted(flag: Flag) -> str:
    """Return the reason for accepting a proposal, for the audit log: the message of the flag."""
    with using(DEFAULT):
        return f"accepted: {words_of(flag.rule, flag.severity, flag.facts)['message']}"


def _act(db: Session, caller: Caller, flag: Flag, reply: FlagAnswerCreate) -> None:
    """Carry out an answer, and check again."""
    reason = reply.reason or _accepted(flag)
    if reply.answer == "accept_fix":
        _accept(db, caller, flag, reason)
    elif reply.answer == "withdraw_trial":
        if flag.trial_id is None:
            raise Conflict(say("refused.flag_of_session"))
        corrections.withdraw_row(db, caller, db.get_one(Trial, flag.trial_id), reason)
    else:
        rechecks.recheck(db, _about(flag))


def _about(flag: Flag) -> ColumnElement[bool]:
    """Return the condition on the trials that a flag is about: one, or those of a session."""
    if flag.trial_id is None:
        return col(Trial.session_id) == flag.session_id
    return col(Trial.id) == flag.trial_id


def _accept(db: Session, caller: Caller, flag: Flag, reason: str) -> None:
    """Write the values that a flag proposes."""
    fix = flag.proposed_fix or {}
    if not any(fix.get(name) for name in PROPOSED):
        raise Conflict(say("refused.flag_without_value"))
    try:
        if fix["thing"] == "session":
            _correct_session(db, caller, flag, fix)
        else:
            row = db.get_one(Trial, flag.trial_id)
            corrections.apply(db, caller, row, _changes(db, row, fix), reason)
    except ValidationError as error:
        raise invalid(error, fix) from error


def _correct_session(db: Session, caller: Caller, flag: Flag, fix: dict[str, Any]) -> None:
    session_id = flag.session_id or db.get_one(Trial, flag.trial_id).session_id
    session = db.get_one(BenchSession, session_id)
    changes = SessionUpdate.model_validate(fix["changes"])
    sessions.change(db, caller, session.id, changes, session.version)


def _changes(db: Session, row: Trial, fix: dict[str, Any]) -> TrialChanges:
    """Return a fix as changes of a trial."""
    if "changes" in fix:
        return TrialChanges.model_validate(fix["changes"])
    names, factor = (
        (VOLTS, fix["scale_volts"]) if "scale_volts" in fix else (WINDS, fix["scale_wind"])
    )
    facts = trials.stored_facts(row, trials.runs_of(db, [row.id])[row.id])
    runs = [
        _scaled(run, names if fix.get("run", number) == number else (), float(factor))
        for number, run in enumerate(facts["runs"], start=1)
    ]
    return TrialChanges.model_validate({"runs": runs})


def _scaled(run: dict[str, Any], names: tuple[str, ...], factor: float) -> dict[str, Any]:
    """Return the fields of a run, with the named values multiplied."""

    def scale(value: Any) -> Any:
        if isinstance(value, list):
            return [scale(each) for each in value]
        return None if value is None else float(f"{value * factor:.12g}")

    facts = {name: run[name] for name in RunCreate.model_fields}
    return facts | {name: scale(facts[name]) for name in names}
