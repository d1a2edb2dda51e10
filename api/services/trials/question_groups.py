"""Group questions that probably have one cause: the same rule in the same session."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.models.measurements.flags import FlagRead
from api.models.trials.trials import Trial
from api.services.trials import answers


@dataclass(frozen=True, slots=True)
class QuestionGroup:
    """Questions of one rule in one session; `about` is the session, in words."""

    flags: tuple[FlagRead, ...]
    about: str

    @property
    def first(self) -> FlagRead:
        """Return the question that leads to all of them."""
        return self.flags[0]


def grouped(db: Session, questions: Sequence[FlagRead]) -> list[QuestionGroup]:
    """Return questions in groups, in the order of the first question of each."""
    sessions = _sessions(db, questions)
    groups: dict[tuple[str, str, str], list[FlagRead]] = {}
    for flag in questions:
        session_id = flag.session_id or sessions[str(flag.trial_id)]
        groups.setdefault((flag.rule, flag.severity, session_id), []).append(flag)
    words = answers.sessions_in_words(db, {session_id for _, _, session_id in groups})
    return [
        QuestionGroup(tuple(flags), words[session_id])
        for (_, _, session_id), flags in groups.items()
    ]


def _sessions(db: Session, questions: Sequence[FlagRead]) -> dict[str, str]:
    """Return the session of each trial that a question is about."""
    trial_ids = [flag.trial_id for flag in questions if flag.trial_id]
    rows = select(col(Trial.id), col(Trial.session_id)).where(col(Trial.id).in_(trial_ids))
    return dict(db.execute(rows).all())
