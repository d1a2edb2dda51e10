"""Look up the session, build, team and load of trials, and refuse trials that do not fit."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import or_
from sqlmodel import Session, col, select

from analysis.checks.all_checks import blocking_rules
from api.errors import FieldError, Invalid, NotFound
from api.many_rows import parts
from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import RunCreate, TrialCreate
from api.services.core.scope import Caller, may_see, require_owner
from api.services.measurements.flag_words import words_of


@dataclass(frozen=True, slots=True)
class Target:
    """The session, build and team of a trial."""

    session: BenchSession
    build: Build
    team: Team | None
    retired: Equipment | None = None

    @property
    def owner(self) -> str:
        """Return the organisation of the trial: the team's; the bench's for a reference rotor."""
        return self.team.organisation_id if self.team else self.session.organisation_id


class Targets:
    """The sessions, builds, teams and resistors of trials, each read once.

    `pointed_at` has ids that a stored trial of the caller already refers to: a session at another
    school may be used for that trial, and for no new one.
    """

    def __init__(
        self,
        db: Session,
        caller: Caller,
        trials: Sequence[TrialCreate],
        pointed_at: Collection[str] = (),
    ) -> None:
        self.caller, self.pointed_at = caller, pointed_at
        sessions = {trial.session_id for trial in trials}
        loads = {trial.load_id for trial in trials if trial.load_id is not None}
        self.sessions = _by_id(db, caller, BenchSession, sessions, pointed_at)
        self.builds = _by_id(db, caller, Build, {trial.build_id for trial in trials})
        self.loads = _by_id(db, caller, Equipment, loads, pointed_at)
        self.teams = _teams(db, list(self.builds))
        self.retired = _retired(db, [each for each in self.builds if each not in self.teams])

    def of(self, trial: TrialCreate, *, is_stored: bool = False) -> Target:
        """Return the target of one trial; the error is the same if a row is absent or hidden."""
        session = _get_or_refuse(self.sessions, trial.session_id, "session_id", "session")
        if not is_stored and not self.caller.reaches(session.organisation_id):
            _get_or_refuse({}, trial.session_id, "session_id", "session")
        build = _get_or_refuse(self.builds, trial.build_id, "build_id", "build")
        if trial.load_id is not None:
            load = _get_or_refuse(self.loads, trial.load_id, "load_id", "equipment")
            if load.kind != "load":
                words = say("refused.no_load", tag=load.tag, kind=load.kind)
                raise _refused("wrong_kind", "load_id", words)
        target = Target(session, build, self.teams.get(build.id), self.retired.get(build.id))
        require_owner(self.caller, target.owner)
        return target


def _by_id(
    db: Session, caller: Caller, table: Any, ids: set[str], pointed_at: Collection[str] = ()
) -> dict[str, Any]:
    is_allowed = or_(may_see(caller, table), col(table.id).in_(pointed_at))
    return {
        row.id: row
        for part in parts(sorted(ids))
        for row in db.scalars(select(table).where(is_allowed, col(table.id).in_(part)))
    }


def _teams(db: Session, build_ids: list[str]) -> dict[str, Team]:
    """Return the team of each build that has one."""
    return {
        build_id: team
        for part in parts(build_ids)
        for build_id, team in db.execute(
            select(Build.id, Team)
            .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
            .join(Team, col(Team.id) == col(Turbine.team_id))
            .where(col(Build.id).in_(part))
        )
    }


def _retired(db: Session, build_ids: list[str]) -> dict[str, Equipment]:
    """Return the equipment row of each retired reference rotor, by build id."""
    return {
        build_id: rotor
        for part in parts(build_ids)
        for build_id, rotor in db.execute(
            select(Build.id, Equipment)
            .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
            .join(Equipment, col(Equipment.id) == col(Turbine.rotor_id))
            .where(col(Build.id).in_(part), col(Equipment.retired_on).is_not(None))
        )
    }


def _get_or_refuse(rows: dict[str, Any], row_id: str, field: str, thing: str) -> Any:
    if row_id not in rows:
        words = say(f"refused.no_{thing}", id=row_id)
        raise NotFound(words, [FieldError("not_found", words, pointer=f"/{field}")])
    return rows[row_id]


def _refused(code: str, field: str, words: str, hint: str | None = None) -> Invalid:
    return Invalid(words, [FieldError(code, words, hint, pointer=f"/{field}")])


def require_sound(trial: TrialCreate, target: Target) -> None:
    """Refuse a trial that does not fit its session and build, or that a check blocks."""
    if (trial.kind == "reference") != (target.team is None):
        words = say("refused.reference_kind")
        raise _refused("wrong_kind", "kind", words)
    if target.team is not None and target.team.season_id != target.session.season_id:
        words = say("refused.other_season")
        raise _refused("other_season", "session_id", words)
    _require_unbroken(target)
    faults = blocked(trial, adult_present=target.session.adult_present)
    if faults:
        raise Invalid(faults[0].detail, faults)


def _require_unbroken(target: Target) -> None:
    """Refuse a run of a reference rotor after it broke."""
    rotor = target.retired
    if rotor and rotor.retired_on and target.session.started_at.date() > rotor.retired_on:
        words = say("refused.is_broken", tag=rotor.tag, day=rotor.retired_on)
        raise _refused("retired", "build_id", words)


def blocked(trial: TrialCreate, *, adult_present: bool) -> list[FieldError]:
    """Return the faults that block storing a trial, each at its field."""
    rules = blocking_rules(
        kind=trial.kind,
        load_ohm=trial.load_ohm,
        load_connected=trial.load_connected,
        adult_present=adult_present,
        meter_range_v=trial.meter_range_v,
        voltages_v=[volts for run in trial.runs for volts in _volts(run)],
    )
    if not rules:
        return []
    over = [
        number
        for number, run in enumerate(trial.runs)
        if trial.meter_range_v is not None
        and any(abs(volts) >= trial.meter_range_v for volts in _volts(run))
    ]
    places = {
        "load_not_stated": "/load_ohm" if trial.load_ohm is None else "/load_connected",
        "supervisor_missing": "/session_id",
        "meter_over_range": f"/runs/{over[0]}/voltage_v" if over else "/runs",
    }
    return [
        FieldError(rule.name, words["message"], words["advice"], pointer=places[rule.name])
        for rule in rules
        for words in [words_of(rule.name, rule.severity, {})]
    ]


def _volts(run: RunCreate) -> list[float]:
    if run.series_voltage_v is not None:
        return run.series_voltage_v
    return [] if run.voltage_v is None else [run.voltage_v]
