"""Store official runs as trials, correct them for drift, and rank the teams."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count

import numpy as np
from pydantic import ValidationError
from sqlmodel import Session, col, or_, select

from api.errors import Conflict, FieldError, Invalid
from api.messages import say
from api.models.core.ids import new_id
from api.models.core.validation import invalid
from api.models.events.runs import (
    Drift,
    EventResults,
    EventRun,
    EventRunCreate,
    OfficialRun,
    Placed,
    ResultsCreate,
)
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.reporting.team_sheet import TeamEventResult
from api.models.trials.trials import Trial, TrialCreate
from api.services.core import audit, resources, revisions, wording
from api.services.core.scope import Caller, Namer
from api.services.core.scope import namer as namer_of
from api.services.events.event_day import (
    EVENT,
    REFERENCE_KIND,
    BestRun,
    Day,
    DayRun,
    best_of_teams,
    read_day,
)
from api.services.measurements import flags
from api.services.trials import trials
from api.services.webhooks import outbox


def record(db: Session, caller: Caller, event_id: str, submitted: ResultsCreate) -> EventResults:
    """Store official runs; each finished one becomes a trial of kind event or reference."""
    event = resources.get_row(db, caller, Event, event_id)
    session = resources.get_row(db, caller, BenchSession, submitted.session_id, "session_id")
    season = resources.get_row(db, caller, Season, event.season_id)
    _require_the_day(event, season, session)
    revisions.raise_season(db, season.id)
    builds = {
        run.build_id: resources.get_row(db, caller, Build, run.build_id, "build_id")
        for run in submitted.runs
    }
    _require_places_free(db, event, submitted.runs)
    trial_ids = _submit(db, caller, event, submitted, builds)
    for run, trial_id in zip(submitted.runs, trial_ids, strict=True):
        _store_run(db, event, run, builds[run.build_id], trial_id)
    db.flush()
    audit.note(db, caller, "ran", event, {"runs": [None, len(submitted.runs)]})
    outbox.note_result(db, event.id)
    return results(db, caller, event_id)


def _require_the_day(event: Event, season: Season, session: BenchSession) -> None:
    morning = event.morning(season.timezone)
    if not morning <= session.started_at < morning + timedelta(days=1):
        words = say("report_refused.other_day", day=event.held_on)
        raise Invalid(words, [FieldError("other_day", words, pointer="/session_id")])


def _require_places_free(db: Session, event: Event, runs: Sequence[EventRunCreate]) -> None:
    """Refuse a position that has another run already, or occurs twice in the list.

    A run whose trial was withdrawn frees its position.
    """
    wanted = [run.position for run in runs]
    twice = sorted({each for each in wanted if wanted.count(each) > 1})
    if twice:
        raise Invalid(say("report_refused.place_twice", place=twice[0]))
    run_at = {run.position: run for run in runs}
    for row in _runs_at(db, event, wanted):
        run = run_at[row.position]
        if row.build_id != run.build_id or (row.outcome == "ok" and run.outcome != "ok"):
            raise Conflict(say("report_refused.place_taken", place=row.position))


def _runs_at(db: Session, event: Event, positions: list[int]) -> list[EventRun]:
    """Return the stored runs at these positions, without those whose trial was withdrawn."""
    rows = (
        select(EventRun)
        .outerjoin(Trial, col(Trial.id) == col(EventRun.trial_id))
        .where(col(EventRun.event_id) == event.id, col(EventRun.position).in_(positions))
        .where(or_(col(Trial.id).is_(None), flags.not_withdrawn))
    )
    return list(db.scalars(rows))


def _submit(
    db: Session, caller: Caller, event: Event, submitted: ResultsCreate, builds: dict[str, Build]
) -> list[str | None]:
    """Submit the readings; return the trial id of each run, or None if it did not finish."""
    withdrawn = _withdrawn_refs(db, event)
    shapes = [
        _trial(
            submitted.session_id, run, builds[run.build_id], _ref(event, run.position, withdrawn)
        )
        for run in submitted.runs
    ]
    finished = [shape for shape in shapes if shape is not None]
    outcomes = iter(trials.submit(db, caller, finished))
    trial_ids: list[str | None] = []
    faults: list[FieldError] = []
    for at, shape in enumerate(shapes):
        outcome = None if shape is None else next(outcomes)
        if outcome is not None and outcome.refusal is not None:
            faults += [
                replace(fault, pointer=f"/runs/{at}{fault.pointer or ''}")
                for fault in outcome.refusal.errors
            ] or [FieldError(outcome.refusal.slug, str(outcome.refusal), pointer=f"/runs/{at}")]
        trial_ids.append(outcome.trial_id if outcome else None)
    if faults:
        raise Invalid(say("report_refused.no_run_stored"), faults)
    return trial_ids


def _withdrawn_refs(db: Session, event: Event) -> set[str]:
    """Return the names of withdrawn official runs, which a repeated run must not use again."""
    query = select(Trial.client_ref).where(
        col(Trial.season_id) == event.season_id,
        col(Trial.state) == flags.WITHDRAWN,
        col(Trial.client_ref).startswith(f"{_mark(event)}-"),
    )
    return {str(ref) for ref in db.scalars(query)}


def _mark(event: Event) -> str:
    return event.id[-8:]


def _ref(event: Event, position: int, withdrawn: set[str]) -> str:
    base = f"{_mark(event)}-{position}"
    names = (base if again == 1 else f"{base}-{again}" for again in count(1))
    return next(name for name in names if name not in withdrawn)


def _trial(
    session_id: str, run: EventRunCreate, build: Build, client_ref: str
) -> TrialCreate | None:
    if run.trial is None:
        return None
    facts = run.trial.model_dump() | {
        "session_id": session_id,
        "build_id": run.build_id,
        "kind": EVENT if build.organisation_id else REFERENCE_KIND,
        "client_ref": client_ref,
    }
    try:
        return TrialCreate.model_validate(facts)
    except ValidationError as error:
        raise invalid(error, facts, prefix=("runs",)) from error


def _store_run(
    db: Session, event: Event, run: EventRunCreate, build: Build, trial_id: str | None
) -> None:
    """Store a run with its trial; update it if its position has one already."""
    place = select(EventRun).where(
        col(EventRun.event_id) == event.id, col(EventRun.position) == run.position
    )
    facts = {
        "outcome": run.outcome, "run_at": run.run_at, "protest": run.protest,
        "trial_id": trial_id, "build_id": build.id, "organisation_id": build.organisation_id,
    }  # fmt: skip
    row = db.scalars(place).one_or_none()
    if row is not None:
        for name, value in facts.items():
            setattr(row, name, value)
        row.version += 1
        return
    db.add(
        EventRun.model_validate(
            facts
            | {
                "id": new_id(EventRun.prefix),
                "event_id": event.id,
                "season_id": event.season_id,
                "position": run.position,
            }
        )
    )


def results(db: Session, caller: Caller, event_id: str) -> EventResults:
    """Return the day's runs, drift and places; no places until officials have decided on drift."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)
    day = read_day(db, event, season)
    namer = namer_of(db, caller, season.id)
    is_undecided = day.needs_decision and event.drift_decision is None
    places = None if is_undecided else _places(day, event, namer)
    key = "results.wait" if is_undecided else "results.known" if places else "results.none"
    return EventResults(
        event_id=event.id,
        as_of=datetime.now(UTC),
        best_of=event.best_of,
        drift_decision=event.drift_decision,
        drifts=[_drift(session, day) for session in day.drifts],
        runs=[_official(run, namer) for run in day.runs],
        places=places,
        sentence=say(key, count=len(places or [])),
        reason=say("results.wait") if is_undecided else None,
    )


def results_of_team(db: Session, caller: Caller, team: Team) -> list[TeamEventResult]:
    """Return the places of a team at its season's events, oldest first."""
    query = select(Event).where(col(Event.season_id) == team.season_id).order_by(col(Event.held_on))
    team_results = []
    for event in db.scalars(query):
        places = results(db, caller, event.id).places or []
        team_results += [
            _of_team(event, each, len(places)) for each in places if each.team_id == team.id
        ]
    return team_results


def _of_team(event: Event, placed: Placed, teams: int) -> TeamEventResult:
    key = "report_event.placed" if placed.best_w is None else "report_event.placed_with"
    return TeamEventResult(
        event_id=event.id,
        name=event.name,
        held_on=event.held_on,
        place=placed.place,
        of_teams=teams,
        best_w=placed.best_w,
        runs=placed.runs,
        sentence=say(
            key,
            event=event.name,
            place=placed.place,
            teams=teams,
            power=1000 * (placed.best_w or 0.0),
        ),
    )


def _places(day: Day, event: Event, namer: Namer) -> list[Placed]:
    """Return the teams by their best run, each with the places that its uncertainty leaves open."""
    best = best_of_teams(day, event)
    order = sorted(best, key=lambda team: -best[team].power_w)
    return [
        Placed(
            place=place,
            places=_open_places(best[team], best.values()),
            team_id=namer.shown_id(team),
            team_name=namer.name(team),
            best_w=best[team].power_w if namer.shown_id(team) else None,
            interval_w=best[team].interval_w if namer.shown_id(team) else None,
            runs=best[team].runs,
        )
        for place, team in enumerate(order, start=1)
    ]


def _open_places(own: BestRun, every: Iterable[BestRun]) -> tuple[int, int]:
    """Return the best and the worst place of a team: two whose intervals overlap may change."""
    low, high = own.interval_w
    intervals = [each.interval_w for each in every]
    ahead = sum(other_low > high for other_low, _ in intervals)
    behind = sum(other_high < low for _, other_high in intervals)
    return ahead + 1, len(intervals) - behind


def _official(run: DayRun, namer: Namer) -> OfficialRun:
    """Return a run as the API shape; without figures if the team must not be named."""
    is_shown = run.team_id is None or namer.shown_id(run.team_id) is not None

    def shown(power: float) -> float | None:
        return power if is_shown and np.isfinite(power) else None

    return OfficialRun.model_validate(
        {
            "position": int(run.position),
            "team_id": namer.shown_id(run.team_id),
            "team_name": say("report_event.reference_rotor")
            if run.team_id is None
            else namer.name(run.team_id),
            "build_number": run.build_number if is_shown else None,
            "outcome": run.outcome,
            "power_w": shown(run.power_w),
            "corrected_power_w": shown(run.corrected_w),
            "state": run.state if is_shown else None,
        }
    )


def _drift(session: str, day: Day) -> Drift:
    correction, count = day.drifts[session], day.reference_runs[session]
    percent = None if correction is None else 100 * float(np.expm1(correction.drift))
    key = (
        "drift.unknown"
        if correction is None
        else "drift.decide"
        if correction.needs_decision
        else "drift.fine"
    )
    return Drift.model_validate(
        wording.statement(key, percent=percent or 0.0, runs=count)
        | {
            "session_id": session,
            "reference_runs": count,
            "drift_pct": percent,
            "needs_decision": correction is not None and correction.needs_decision,
        }
    )
