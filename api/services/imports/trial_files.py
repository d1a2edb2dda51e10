"""Write a season's trials as a file with the columns of an import, so that it can be imported."""

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from api.models.core.ids import is_id
from api.models.imports.trial_files import TrialFileQuery
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Run, Trial
from api.services.core import resources
from api.services.core.moments import in_utc
from api.services.core.safe_cells import BYTE_ORDER_MARK, protect
from api.services.core.scope import Caller, may_see
from api.services.imports.headers import (
    RARE_COLUMNS,
    TEMPLATE_COLUMNS,
)
from api.services.imports.sheet import DELIMITERS
from api.services.imports.table import (
    EXAMPLE,
    RUN_COLUMNS,
    SESSION_COLUMNS,
    TRIAL_COLUMNS,
)
from api.services.measurements import flags
from api.services.trials import trials

#: Columns after those that an import reads.
ABOUT_COLUMNS = ("state", "trial_id")

Host = aliased(Organisation, name="host")
PLACED: tuple[Any, ...] = (
    Trial,
    BenchSession,
    Bench,
    Host.name,
    Build.number,
    Turbine.name,
    Team.name,
    Organisation.name,
)
Cells = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Placed:
    """A trial with the names that its row in a file has."""

    trial: Trial
    session: BenchSession
    bench: Bench
    host: str
    build_number: int
    turbine: str
    team: str | None
    owner: str


def season_csv(db: Session, caller: Caller, season_id: str, query: TrialFileQuery) -> str:
    """Return the trials of a season that the caller may see and that were not withdrawn."""
    resources.get_row(db, caller, Season, season_id)
    placed = [Placed(*row) for row in db.execute(_placed(caller, season_id, query))]
    runs = trials.runs_of(db, [each.trial.id for each in placed])
    rows = [cells for each in placed for cells in _rows(each, runs[each.trial.id])]
    return (BYTE_ORDER_MARK if query.excel else "") + _written(rows, query)


def _placed(caller: Caller, season_id: str, query: TrialFileQuery) -> Any:
    statement: Any = (
        select(*PLACED)
        .join(BenchSession, col(Trial.session_id) == col(BenchSession.id))
        .join(Bench, col(BenchSession.bench_id) == col(Bench.id))
        .join(Host, col(Bench.organisation_id) == Host.id)
        .join(Build, col(Trial.build_id) == col(Build.id))
        .join(Turbine, col(Build.turbine_id) == col(Turbine.id))
        .outerjoin(Team, col(Turbine.team_id) == col(Team.id))
        .join(Organisation, col(Trial.organisation_id) == col(Organisation.id))
        .where(may_see(caller, Trial), col(Trial.season_id) == season_id)
        .where(flags.not_withdrawn)
        .order_by(col(Trial.id))
    )
    if query.organisation_id is None:
        return statement
    return statement.where(col(Trial.organisation_id) == query.organisation_id)


def _rows(placed: Placed, runs: list[Run]) -> Iterator[Cells]:
    """Yield the cells of each run of a trial; the first one has the note."""
    shared = _names(placed) | _facts(placed.trial, TRIAL_COLUMNS)
    shared |= _facts(placed.session, SESSION_COLUMNS)
    shared["trial_wind_speed_m_s"] = placed.trial.wind_speed_m_s
    for run in runs:
        note = placed.trial.note if run.number == 1 else None
        yield shared | _facts(run, RUN_COLUMNS) | {"run": run.number, "note": note}


def _facts(row: Any, columns: Iterable[str]) -> Cells:
    return {name: getattr(row, name) for name in columns}


def _names(placed: Placed) -> Cells:
    trial, host = placed.trial, placed.host
    return {
        "organisation": placed.owner,
        "team": placed.team,
        "turbine": placed.turbine,
        "build": placed.build_number,
        "bench": placed.bench.name,
        "bench_organisation": host if host != placed.owner else None,
        "session_started_at": in_utc(placed.session.started_at),
        "kind": trial.kind,
        "client_ref": _name_of(trial),
        "state": trial.state,
        "trial_id": trial.id,
    }


def _name_of(trial: Trial) -> str:
    """Return the name that identifies a trial in an import: its own if usable, else its id."""
    ref = trial.client_ref
    if ref is None or EXAMPLE.fullmatch(ref) or is_id(Trial.prefix, ref):
        return trial.id
    return ref


def _written(rows: list[Cells], query: TrialFileQuery) -> str:
    """Return rows as CSV text, with the rare columns that any of them fills."""
    rare = [name for name in RARE_COLUMNS if any(row.get(name) is not None for row in rows)]
    out = io.StringIO()
    sign = next(sign for sign, name in DELIMITERS.items() if name == query.delimiter)
    columns = (*TEMPLATE_COLUMNS, *rare, *ABOUT_COLUMNS)
    writer = csv.writer(out, delimiter=sign, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(name, row.get(name), query.decimal) for name in columns])
    return out.getvalue()


def _cell(name: str, value: Any, decimal: str) -> str:
    """Return a value as an import reads it: exact numbers, text safe in spreadsheets, yes or no."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(_cell(name, each, decimal) for each in value)
    if isinstance(value, float):
        text = f"{Decimal(repr(value)):f}"
        return text.replace(".", ",") if decimal == "comma" else text
    return protect(str(value))
