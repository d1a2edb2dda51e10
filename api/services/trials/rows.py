"""Turn submitted trials into facts, digests, and rows with their runs."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, SQLModel

from analysis.electrical import mean_square
from analysis.trials.steadiness import steadiness
from api.many_rows import insert_rows
from api.models.trials.trials import RunCreate, TrialCreate
from api.services.measurements.flags import ACCEPTED
from api.services.trials.targets import Target

Name = tuple[str, str]
TRIALS, RUNS = SQLModel.metadata.tables["trial"], SQLModel.metadata.tables["run"]
FACTS = [name for name in TrialCreate.model_fields if name not in ("note", "runs")]
RUN_FACTS = list(RunCreate.model_fields)
IN_ORDER = json.JSONEncoder(sort_keys=True, default=str)
SERIES = ("series_variation", "series_drift", "series_block_variation")


@dataclass(frozen=True, slots=True)
class Submission:
    """A submitted trial, with the digest of its facts."""

    trial: TrialCreate
    digest: str

    @property
    def name(self) -> Name | None:
        """Return the name by which a repeated submission is recognised, or None without a name."""
        ref = self.trial.client_ref
        return None if ref is None else (self.trial.build_id, ref)


def facts_of(trial: TrialCreate) -> dict[str, Any]:
    """Return the facts that identify a submission: all but the note."""
    facts = _facts_of(trial, FACTS)
    return facts | {"runs": [_facts_of(run, RUN_FACTS) for run in trial.runs]}


def _facts_of(shape: TrialCreate | RunCreate, names: Sequence[str]) -> dict[str, Any]:
    """Return fields of a shape that have plain values, without the cost of `model_dump`."""
    values = vars(shape)
    return {name: values[name] for name in names}


def digest_of(facts: dict[str, Any]) -> str:
    """Return the digest of a submitted trial."""
    return hashlib.sha256(IN_ORDER.encode(facts).encode()).hexdigest()


def insert(db: Session, new: dict[str, tuple[Submission, Target]], import_id: str | None) -> None:
    """Store new trials with their runs."""
    # Insert into the table, not by the class: the rows are not needed as objects.
    connection, now = db.connection(), datetime.now(UTC)
    trials = [_trial_row(trial_id, *of_trial, import_id, now) for trial_id, of_trial in new.items()]
    insert_rows(connection, TRIALS, trials)
    runs = [
        run_row(trial_id, number, run)
        for trial_id, (submission, _) in new.items()
        for number, run in enumerate(submission.trial.runs, start=1)
    ]
    insert_rows(connection, RUNS, runs)


def _trial_row(
    trial_id: str, submission: Submission, target: Target, import_id: str | None, now: datetime
) -> dict[str, Any]:
    return _facts_of(submission.trial, FACTS) | {
        "id": trial_id,
        "version": 1,
        "created_at": now,
        "updated_at": now,
        "as_typed": submission.trial.typed(),
        "note": submission.trial.note,
        "organisation_id": target.owner,
        "season_id": target.session.season_id,
        "import_id": import_id,
        "state": ACCEPTED,
        "submitted_digest": submission.digest,
    }


def run_row(trial_id: str, number: int, run: RunCreate) -> dict[str, Any]:
    """Return the row of a run; for a series with its mean square and its steadiness."""
    row = _facts_of(run, RUN_FACTS) | {
        "trial_id": trial_id,
        "number": number,
        "as_typed": run.typed(),
    }
    without_series = dict.fromkeys(("mean_square_voltage_v2", *SERIES))
    if run.series_voltage_v is None:
        return row | without_series
    steady = steadiness(run.series_voltage_v, run.sample_rate_hz)
    return row | {
        "mean_square_voltage_v2": mean_square(run.series_voltage_v),
        "series_variation": steady.variation,
        "series_drift": steady.drift,
        "series_block_variation": steady.block_variation,
    }
