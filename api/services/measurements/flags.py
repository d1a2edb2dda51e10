"""Flags: the findings of the data checks on trials and sessions, stored with their answers.

Flags follow from facts (`rechecks` says when): new ones are added, and open ones that no longer
hold are cleared.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from itertools import zip_longest
from typing import Any

import numpy as np
from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, Row, bindparam, insert, literal_column, or_, update
from sqlmodel import Session, col, select

from analysis.checks.rules import GRAVEST
from analysis.checks.view import Finding, Mask, Place, View
from analysis.trials.results import TrialResults
from api.many_rows import parts
from api.models.core.ids import new_id
from api.models.measurements.flags import Flag, FlagRead
from api.models.trials.trials import Trial
from api.prepared import Prepared
from api.services.measurements import sweeps
from api.services.measurements.flag_words import facts_of, words_of
from api.services.measurements.frames import Frame
from api.services.webhooks import outbox

OPEN, CLEARED, CONFIRMED = "open", "cleared", "confirmed"
HELD, ACCEPTED, WITHDRAWN = "held", "accepted", "withdrawn"
#: The rule of what is found by a season's fit, not by the checks of a bench: stored once answered.
UNLIKE_SEASON = "unlike_season"
READS = TypeAdapter(list[FlagRead])
WITHOUT_WORDS = {"reason": None, "answered_by": None}
FLAG_COLUMNS = [*(name for name in FlagRead.model_fields if name in Flag.model_fields), "facts"]
#: The columns of a flag that come from a finding; `_STORED` adds its identity and state.
FINDING_COLUMNS = ("severity", "facts", "proposed_fix", "seen")
ASKED_AGAIN = {"state": OPEN, "reason": None, "answered_by": None, "answered_at": None}
_STORED = select(
    *(
        getattr(Flag, name)
        for name in ("id", "trial_id", "session_id", "rule", "state", *FINDING_COLUMNS)
    )
)
#: The states are literals, not bound parameters: with a parameter, PostgreSQL estimates hardly any
#: rows with another state, and chooses a slow query plan.
not_withdrawn = col(Trial.state) != literal_column(f"'{WITHDRAWN}'")
not_cleared = col(Flag.state) != literal_column(f"'{CLEARED}'")
_about_any = or_(
    col(Flag.trial_id).in_(bindparam("trial_ids", expanding=True)),
    col(Flag.session_id).in_(bindparam("session_ids", expanding=True)),
)
_STORED_OF = Prepared(_STORED.where(col(Flag.season_id) == bindparam("season_id"), _about_any))
_HOLDING = Prepared(
    select(*(getattr(Flag, name) for name in FLAG_COLUMNS)).where(_about_any, not_cleared)
)


#: A row of `_STORED`.
StoredFlag = Row[tuple[Any, ...]]


def stored_about(
    db: Session, season_id: str, of_trials: ColumnElement[bool], of_sessions: ColumnElement[bool]
) -> dict[Place, StoredFlag]:
    """Return the stored flags of trials or sessions, as plain rows.

    Almost all are unchanged, and making objects of them takes longer than checking again.
    """
    return _by_place(
        db.execute(_STORED.where(col(Flag.season_id) == season_id, or_(of_trials, of_sessions)))
    )


def stored_of(
    db: Session, season_id: str, trial_ids: Sequence[str], session_ids: Sequence[str]
) -> dict[Place, StoredFlag]:
    """Return the stored flags of a few trials and sessions, as plain rows."""
    ids = {"trial_ids": trial_ids, "session_ids": session_ids}
    return _by_place(_STORED_OF.rows(db.connection(), season_id=season_id, **ids))


def _by_place(rows: Iterable[StoredFlag]) -> dict[Place, StoredFlag]:
    return {(str(row.trial_id or row.session_id), row.rule): row for row in rows}


def view_of(
    frame: Frame,
    computed: TrialResults,
    stored: Mapping[Place, StoredFlag],
    settled: Mask | None = None,
) -> View:
    """Return trials for the data checks, and what is stored of earlier findings in them."""
    return View(
        frame.trials,
        frame.runs,
        computed,
        now=datetime.now(UTC).timestamp(),
        confirmed={place: flag.seen for place, flag in stored.items() if flag.state == CONFIRMED},
        settled=settled,
        open_findings={
            place: flag.severity for place, flag in stored.items() if flag.state == OPEN
        },
    )


def sync(
    db: Session,
    season_id: str,
    view: View,
    findings: Sequence[Finding],
    stored: Mapping[Place, StoredFlag],
) -> None:
    """Update the stored flags to the findings of the checks, which are sorted gravest first."""
    worst: dict[Place, Finding] = {}
    for finding in findings:  # the most serious of each rule in each trial or session
        worst.setdefault(view.place(finding), finding)
    new = [_row(season_id, view, each) for place, each in worst.items() if place not in stored]
    if new:
        db.execute(insert(Flag), new)
    renewed = {flag.id: _renewed(flag, worst.get(place)) for place, flag in stored.items()}
    changed = [flag_id for flag_id, values in renewed.items() if values]
    for part in parts(changed):
        for flag in db.scalars(select(Flag).where(col(Flag.id).in_(part))):
            for name, value in renewed[flag.id].items():
                setattr(flag, name, value)
            flag.version += 1
    db.flush()


def _row(season_id: str, view: View, finding: Finding) -> dict[str, object]:
    of_trial = finding.rule.scope == "trial"
    owner = "organisation_id" if of_trial else "bench_organisation_id"
    return _columns_of(finding) | {
        "id": new_id(Flag.prefix),
        "trial_id": str(view.trials["trial_id"][finding.trial]) if of_trial else None,
        "session_id": None if of_trial else str(view.trials["session_id"][finding.trial]),
        "season_id": season_id,
        "organisation_id": str(view.trials[owner][finding.trial]),
        "rule": finding.rule.name,
        "state": OPEN,
    }


def _columns_of(finding: Finding) -> dict[str, object]:
    return dict(zip(FINDING_COLUMNS, _finding_values(finding), strict=True))


def _finding_values(finding: Finding) -> tuple[object, ...]:
    return finding.rule.severity, facts_of(finding), finding.fix, finding.seen


def _renewed(flag: StoredFlag, finding: Finding | None) -> dict[str, object]:
    """Return the new values of a flag: it clears, or opens again if the check sees another value.

    A confirmation holds for the value that was seen, and only as long as that stays.
    """
    if finding is None:
        return {"state": CLEARED} if flag.state == OPEN else {}
    is_answered = flag.state == CONFIRMED and flag.seen in (None, finding.seen)
    is_asked_again = flag.state != OPEN and not is_answered
    stored = flag.severity, flag.facts, flag.proposed_fix, flag.seen
    if not is_asked_again and stored == _finding_values(finding):
        return {}
    return _columns_of(finding) | (ASKED_AGAIN if is_asked_again else {})


def hold(db: Session, view: View, held: Mask) -> set[str]:
    """Store which trials are held; return the builds of wind trials whose state changed.

    Webhooks are to send that newly held ones need an answer.
    """
    wanted = np.where(held, HELD, ACCEPTED)
    moved = np.flatnonzero(np.asarray(view.trials["state"]) != wanted)
    for state in (HELD, ACCEPTED):
        ids = [str(view.trials["trial_id"][at]) for at in moved if wanted[at] == state]
        for part in parts(ids):
            db.execute(update(Trial).where(col(Trial.id).in_(part)).values(state=state))
    owner_of = view.trials["organisation_id"]
    newly_held = [(str(view.trials["trial_id"][at]), str(owner_of[at])) for at in moved if held[at]]
    outbox.note_held(db, newly_held)
    kinds, builds = view.trials["kind"], view.trials["build_id"]
    return {str(builds[at]) for at in moved if kinds[at] == sweeps.WIND}


def of_trials(db: Session, sessions: Mapping[str, str]) -> dict[str, list[FlagRead]]:
    """Return the flags that hold for trials and their sessions, most serious first.

    `sessions` has the session id of each trial id.
    """
    holding = defaultdict[str, list[FlagRead]](list)
    for flag in _holding(db, sorted(sessions), sorted(set(sessions.values()))):
        # A visitor's trial shows the flags of the host's session, but not the host's answers.
        shown = flag if flag.trial_id else flag.model_copy(update=WITHOUT_WORDS)
        holding[str(flag.trial_id or flag.session_id)].append(shown)
    by_trial = {}
    for trial_id, session_id in sessions.items():
        flags = holding.get(trial_id, []) + holding.get(session_id, [])
        if flags:
            by_trial[trial_id] = sorted(flags, key=_gravest_first)
    return by_trial


def _holding(db: Session, trial_ids: list[str], session_ids: list[str]) -> list[FlagRead]:
    """Return the flags that hold for trials or sessions."""
    # A page of trials fits into one part of each, so one query reads both.
    both = zip_longest(parts(trial_ids), parts(session_ids), fillvalue=())
    rows = [
        row
        for trials, sessions in both
        for row in _HOLDING.rows(db.connection(), trial_ids=trials, session_ids=sessions)
    ]
    plain = (dict(zip(FLAG_COLUMNS, row, strict=True)) for row in rows)
    return READS.validate_python(
        [each | words_of(each["rule"], each["severity"], each.pop("facts")) for each in plain]
    )


def _gravest_first(flag: FlagRead) -> tuple[Any, ...]:
    own_first = flag.trial_id is None
    is_answered = flag.state != OPEN
    return is_answered, flag.rule != "personal_data", GRAVEST[flag.severity], own_first, flag.id
