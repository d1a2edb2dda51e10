"""Look up the sessions that rows name, or open them with the conditions of all their rows."""

from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from api.errors import ApiError, FieldError
from api.messages import say
from api.models.registry.sessions import BenchSession, SessionCreate
from api.services.core.scope import Caller
from api.services.imports.cells import NotAValue
from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.shaping import is_sound_session, located
from api.services.imports.table import SESSION_COLUMNS, ReadRow
from api.services.registry import sessions

SessionKey = tuple[str, str, datetime]


class Opening:
    """The sessions of one import."""

    def __init__(self, db: Session, caller: Caller) -> None:
        self.db, self.caller = db, caller
        self.conditions: dict[SessionKey, dict[str, Any]] = {}
        #: Rows in which a condition of a session cannot be read, by its column.
        self.unread: dict[SessionKey, dict[str, ReadRow]] = {}
        self.sessions: dict[SessionKey, BenchSession] = {}
        self.opened: list[BenchSession] = []
        self.agreed: set[tuple[str, tuple[tuple[str, Any], ...]]] = set()

    def note_conditions(self, trial: ImportedTrial) -> None:
        """Collect the session conditions of a trial, even if the trial is refused.

        The first value counts; conditions beyond their limits are ignored.
        """
        if trial.session is None:
            return
        key = _key(trial)
        if is_sound_session(trial.conditions):
            self.conditions[key] = trial.conditions | self.conditions.get(key, {})
        for row in trial.rows:
            titles = {fault.column for fault in row.faults}
            for name in SESSION_COLUMNS:
                if row.title(name) in titles:
                    self.unread.setdefault(key, {}).setdefault(name, row)

    def find_or_open(self, trial: ImportedTrial) -> BenchSession | None:
        """Return a trial's session; note conditions in which the trial contradicts it."""
        key = _key(trial)
        row = self.sessions.get(key) or self._stored(key)
        row = row or (None if self._is_unclear(key, trial) else self._open(key, trial))
        if row is None or self._differs(row, trial):
            return None
        self.sessions[key] = row
        return row

    def _is_unclear(self, key: SessionKey, trial: ImportedTrial) -> bool:
        """Note each condition of a new session that could not be read in another row.

        Without it the session would be stored as if nobody had measured that.
        """
        first = trial.rows[0]
        for name, row in self.unread.get(key, {}).items():
            if first.table.names.get(name) not in self.conditions.get(key, {}):
                words = say("import_session.unread", row=row.number)
                trial.add_fault(first, first.title(name), NotAValue("unread", words), name)
        return bool(trial.faults)

    def _stored(self, key: SessionKey) -> BenchSession | None:
        query = select(BenchSession).where(
            col(BenchSession.bench_id) == key[0],
            col(BenchSession.season_id) == key[1],
            col(BenchSession.started_at) == key[2],
        )
        return self.db.scalars(query).one_or_none()

    def _open(self, key: SessionKey, trial: ImportedTrial) -> BenchSession | None:
        facts = {"adult_present": False} | (trial.session or {}) | self.conditions[key]
        try:
            row = sessions.add(self.db, self.caller, SessionCreate.model_validate(facts))
        except ApiError as refusal:
            faults = refusal.errors or [FieldError(refusal.slug, str(refusal))]
            trial.faults += located(faults, trial.rows)
            return None
        self.opened.append(row)
        return row

    def _differs(self, row: BenchSession, trial: ImportedTrial) -> bool:
        """Note each condition in which a trial contradicts its session."""
        conditions = row.id, tuple(trial.conditions.items())
        if conditions in self.agreed:
            return False
        facts = {"adult_present": row.adult_present} | (trial.session or {}) | trial.conditions
        own = SessionCreate.model_validate(facts)
        for column in SESSION_COLUMNS:
            at = trial.row_of(column)
            if column in at.values and getattr(own, column) != getattr(row, column):
                trial.faults.append(
                    FieldError(
                        "session_differs",
                        _what_it_has(getattr(row, column)),
                        say("import_session.differs_hint"),
                        row=at.number,
                        column=at.title(column),
                        value=str(at.values[column]),
                    )
                )
        if not trial.faults:
            self.agreed.add(conditions)
        return bool(trial.faults)


def _key(trial: ImportedTrial) -> SessionKey:
    facts = trial.session or {}
    return facts["bench_id"], facts["season_id"], facts["started_at"]


def _what_it_has(stored: Any) -> str:
    """Return words for the stored value of a condition."""
    if stored is None:
        return say("import_session.has_nothing")
    if isinstance(stored, bool):
        return say("import_session.has", stored=say("form.yes" if stored else "form.no"))
    return say("import_session.has", stored=int(stored) if stored == int(stored) else stored)
