"""Trials as they are sent and as they are stored: facts, digests, and rows with their runs."""

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, SQLModel

from analysis.electrical import mean_square
from analysis.steadiness import steadiness
from api.bulk import put
from api.models.trials import RunCreate, TrialCreate
from api.services.flags import ACCEPTED
from api.services.trial_targets import Target

Name = tuple[str, str]
TRIALS, RUNS = SQLModel.metadata.tables["trial"], SQLModel.metadata.tables["run"]
SERIES = ("series_variation", "series_drift", "series_block_variation")


@dataclass(frozen=True, slots=True)
class Sent:
    """A trial as it comes, with the digest of its facts."""

    trial: TrialCreate
    facts: dict[str, Any]
    digest: str

    @property
    def name(self) -> Name | None:
        """Return what finds it again: nothing where its sender named it by nothing."""
        ref = self.trial.client_ref
        return None if ref is None else (self.trial.build_id, ref)


def facts_of(trial: TrialCreate) -> dict[str, Any]:
    """Return what makes two submissions the same one: every fact but the note's wording."""
    facts = trial.model_dump(exclude={"note", "runs"})
    return facts | {"runs": [run.model_dump() for run in trial.runs]}


def digest_of(facts: dict[str, Any]) -> str:
    """Return what tells a trial as submitted from any other."""
    told = json.dumps(facts, sort_keys=True, default=str)
    return hashlib.sha256(told.encode()).hexdigest()


def insert(db: Session, new: dict[str, tuple[Sent, Target]], import_id: str | None) -> None:
    """Store new trials with their runs."""
    # By the table and not by the class: nothing of what is stored so is wanted as an object.
    connection, now = db.connection(), datetime.now(UTC)
    put(
        connection,
        TRIALS,
        [_trial_row(trial_id, *pair, import_id, now) for trial_id, pair in new.items()],
    )
    put(
        connection,
        RUNS,
        [
            _run_row(trial_id, number, run, facts)
            for trial_id, (sent, _) in new.items()
            for number, (run, facts) in enumerate(
                zip(sent.trial.runs, sent.facts["runs"], strict=True), start=1
            )
        ],
    )


def _trial_row(
    trial_id: str, sent: Sent, target: Target, import_id: str | None, now: datetime
) -> dict[str, Any]:
    facts = {name: value for name, value in sent.facts.items() if name != "runs"}
    return facts | {
        "id": trial_id,
        "version": 1,
        "created_at": now,
        "as_typed": sent.trial.typed(),
        "note": sent.trial.note,
        "organisation_id": target.owner,
        "season_id": target.session.season_id,
        "import_id": import_id,
        "state": ACCEPTED,
        "submitted_digest": sent.digest,
    }


def run_row(trial_id: str, number: int, run: RunCreate) -> dict[str, Any]:
    """Return a run as it is stored; of a series its mean square and how steady it is."""
    return _run_row(trial_id, number, run, run.model_dump())


def _run_row(trial_id: str, number: int, run: RunCreate, facts: dict[str, Any]) -> dict[str, Any]:
    row = facts | {"trial_id": trial_id, "number": number, "as_typed": run.typed()}
    nothing = dict.fromkeys(("mean_square_voltage_v2", *SERIES))
    if run.series_voltage_v is None:
        return row | nothing
    steady = steadiness(run.series_voltage_v, run.sample_rate_hz)
    return row | {
        "mean_square_voltage_v2": mean_square(run.series_voltage_v),
        "series_variation": steady.variation,
        "series_drift": steady.drift,
        "series_block_variation": steady.block_variation,
    }
