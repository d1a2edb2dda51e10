"""The sessions that rows name: found, or opened with what all their rows say together."""

from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from api.errors import ApiError, FieldError
from api.messages import say
from api.models.registry.sessions import BenchSession, SessionCreate
from api.services.core.scope import Caller
from api.services.imports.drafts import Draft, is_sound_session, located
from api.services.imports.headers import Header
from api.services.imports.table import SESSION_COLUMNS
from api.services.registry import sessions

SessionKey = tuple[str, str, datetime]


class Opening:
    """The sessions of one import."""

    def __init__(self, db: Session, caller: Caller, header: Header) -> None:
        self.db, self.caller, self.header = db, caller, header
        self.said: dict[SessionKey, dict[str, Any]] = {}
        self.known: dict[SessionKey, BenchSession] = {}
        self.opened: list[BenchSession] = []
        self.agreed: set[tuple[str, tuple[tuple[str, Any], ...]]] = set()

    def hear(self, draft: Draft) -> None:
        """Learn what a draft says of its session, also where its trial is refused.

        What was said first counts; conditions beyond their limits say nothing.
        """
        if draft.session is not None and is_sound_session(draft.conditions):
            key = _key(draft)
            self.said[key] = draft.conditions | self.said.get(key, {})

    def find_or_open(self, draft: Draft) -> BenchSession | None:
        """Return a draft's session; note where it says otherwise than the draft."""
        key = _key(draft)
        row = self.known.get(key) or self._stored(key) or self._open(key, draft)
        if row is None or self._differs(row, draft):
            return None
        self.known[key] = row
        return row

    def _stored(self, key: SessionKey) -> BenchSession | None:
        found = select(BenchSession).where(
            col(BenchSession.bench_id) == key[0],
            col(BenchSession.season_id) == key[1],
            col(BenchSession.started_at) == key[2],
        )
        return self.db.scalars(found).one_or_none()

    def _open(self, key: SessionKey, draft: Draft) -> BenchSession | None:
        facts = {"adult_present": False} | (draft.session or {}) | self.said[key]
        try:
            row = sessions.add(self.db, self.caller, SessionCreate.model_validate(facts))
        except ApiError as refusal:
            faults = refusal.errors or [FieldError(refusal.slug, str(refusal))]
            draft.faults += located(faults, draft.rows, self.header)
            return None
        self.opened.append(row)
        return row

    def _differs(self, row: BenchSession, draft: Draft) -> bool:
        """Note each condition in which a draft contradicts its session."""
        conditions = row.id, tuple(draft.conditions.items())
        if conditions in self.agreed:
            return False
        facts = {"adult_present": row.adult_present} | (draft.session or {}) | draft.conditions
        mine = SessionCreate.model_validate(facts)
        for column in SESSION_COLUMNS:
            at = draft.row_of(column)
            if column in at.values and getattr(mine, column) != getattr(row, column):
                draft.faults.append(
                    FieldError(
                        "session_differs",
                        _what_it_has(getattr(row, column)),
                        say("import_session.differs_hint"),
                        row=at.number,
                        column=self.header.title(column),
                        value=str(at.values[column]),
                    )
                )
        if not draft.faults:
            self.agreed.add(conditions)
        return bool(draft.faults)


def _key(draft: Draft) -> SessionKey:
    facts = draft.session or {}
    return facts["bench_id"], facts["season_id"], facts["started_at"]


def _what_it_has(stored: Any) -> str:
    """Return what a session has of a condition; in words."""
    if stored is None:
        return say("import_session.has_nothing")
    if isinstance(stored, bool):
        return say("import_session.has", stored=say("form.yes" if stored else "form.no"))
    return say("import_session.has", stored=int(stored) if stored == int(stored) else stored)
